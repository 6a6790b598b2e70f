//! The height that is to be expected at each angle of a band.
//!
//! Decides: the height of a sector: the band's own mean, more where more wire was fed to a shorter way or on a
//! narrower weave.
//! Assumes: metal lies where it was laid; what is laid over the band's own start is left out.
//! Never: judges; the core judges the mean.
//!
//! The height goes with the wire fed in a time, and against the way and the width it is laid on in that time:
//! conservation of volume, as in the core's formula for a whole band.

use crate::findings::band_history::{BandHistory, Stretch};
use bandward::record::band::WireFeedSource;
use bandward::{BandRecord, Channel, Procedure};

/// Sectors of a turn, 15 degrees each.
pub const SECTORS: usize = 24;
/// Degrees of a sector.
pub const SECTOR_DEG: f64 = 360.0 / SECTORS as f64;

/// One band.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightCourse {
    /// The joint, from 1.
    pub joint: u16,
    /// The band, from 1.
    pub band: u16,
    /// Expected height of each sector, mm.
    pub sectors_mm: [Option<f64>; SECTORS],
    /// Width that was to be expected, mm.
    pub width_mm: Option<f64>,
    /// Angle laid over the band's own start, degrees.
    pub overlap_deg: f64,
    /// Was the wire feed measured?
    pub is_feed_measured: bool,
}

impl HeightCourse {
    /// The height that is to be expected at an angle, mm.
    pub fn at(&self, angle_deg: f64) -> Option<f64> {
        // Halfway between two sectors either will do.
        let sector = (angle_deg.rem_euclid(360.0) / SECTOR_DEG) as usize;
        self.sectors_mm.get(sector.min(SECTORS - 1)).copied().flatten()
    }
    /// Does the end of the band lie over its own start there?
    pub fn is_overlapped(&self, angle_deg: f64) -> bool {
        angle_deg.rem_euclid(360.0) < self.overlap_deg.max(0.0)
    }
}

/// What was laid in a sector.
#[derive(Clone, Copy, Default)]
struct Laid {
    time_s: f64,
    way_deg: f64,
    /// Wire feed times time.
    wire_mm: f64,
    wire_time_s: f64,
    half_cycles: f64,
    widths_mm: f64,
}

impl Laid {
    fn add(&mut self, stretch: &Stretch, feed: Option<f64>) {
        let time_s = stretch.to_us.saturating_sub(stretch.from_us) as f64 / 1e6;
        let way_deg = stretch.to_deg.zip(stretch.from_deg).map_or(0.0, |(to, from)| to - from);
        self.time_s += time_s;
        self.way_deg += way_deg;
        if let Some(feed) = feed {
            self.wire_mm += feed / 60.0 * time_s;
            self.wire_time_s += time_s;
        }
        self.half_cycles += f64::from(stretch.widths.0);
        self.widths_mm += stretch.widths.1;
    }
    fn width_mm(&self, run_out_mm: f64) -> Option<f64> {
        (self.half_cycles > 0.0).then(|| self.widths_mm / self.half_cycles + run_out_mm)
    }
    fn feed(&self) -> Option<f64> {
        (self.wire_time_s > 0.0).then(|| self.wire_mm / self.wire_time_s)
    }
    /// Its height against that of the whole band.
    fn share_of(&self, whole: &Self, run_out_mm: f64) -> Option<f64> {
        let is_seen = self.way_deg > 0.0 && self.time_s > 0.0 && whole.way_deg > 0.0;
        let pace = is_seen.then(|| (self.time_s / self.way_deg) / (whole.time_s / whole.way_deg))?;
        let ratio =
            |one: Option<f64>, other: Option<f64>| one.zip(other).map_or(1.0, |(one, other)| one / other);
        let feed = ratio(self.feed(), whole.feed());
        let width = ratio(whole.width_mm(run_out_mm), self.width_mm(run_out_mm));
        Some(pace * feed * width)
    }
}

/// The course of every band that has a height.
pub fn courses(
    procedure: &Procedure,
    records: &[BandRecord],
    histories: &[BandHistory],
) -> Vec<HeightCourse> {
    let of = |record: &BandRecord| {
        let history = histories.iter().find(|history| history.band == record.band)?;
        Some(course(procedure, record, history))
    };
    records.iter().filter_map(of).collect()
}

fn course(procedure: &Procedure, record: &BandRecord, history: &BandHistory) -> HeightCourse {
    let run_out_mm = crate::raw::value(procedure.geometry.run_out);
    let mut sectors = [Laid::default(); SECTORS];
    let mut whole = Laid::default();
    for stretch in &history.stretches {
        let feed = history.mean(stretch, Channel::Wire);
        whole.add(stretch, feed);
        let middle = stretch.from_deg.zip(stretch.to_deg).map(|(from, to)| f64::midpoint(from, to));
        let sector = middle.filter(|middle| (0.0..360.0).contains(middle));
        if let Some(sector) = sector.and_then(|middle| sectors.get_mut((middle / SECTOR_DEG) as usize)) {
            sector.add(stretch, feed);
        }
    }
    let mean_mm = record.band_height.map(crate::raw::value);
    let height = |sector: &Laid| Some(mean_mm? * sector.share_of(&whole, run_out_mm)?);
    let laid = procedure.geometry.laid_width(record.weave_width);
    HeightCourse {
        joint: record.joint,
        band: record.band,
        sectors_mm: sectors.each_ref().map(height),
        width_mm: laid.map(crate::raw::value),
        overlap_deg: record.overlap.map_or(0.0, crate::raw::value),
        is_feed_measured: record.wire_feed_source == Some(WireFeedSource::Measured),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::band_history::BandHistories;
    use crate::trace::Row;
    use bandward::Phase;
    use bandward::units::Length;

    /// A turn in 72 s at 50 Hz, its second quarter with `feed` times the wire and `pace` times as fast.
    fn made(feed: f64, pace: f64) -> HeightCourse {
        let mut histories = BandHistories::default();
        let (mut angle, mut time_us) = (0.0, 0);
        while angle < 360.0 {
            let is_other = (90.0..180.0).contains(&angle);
            let wire = 7000.0 * if is_other { feed } else { 1.0 };
            let row = Row::at(time_us).with(Channel::Spindle, angle).with(Channel::Wire, wire);
            histories.observe(&row, Phase::Arc, 1);
            angle += 0.1 * if is_other { pace } else { 1.0 };
            time_us += 20_000;
        }
        let record = BandRecord {
            band: 1,
            band_height: Some(Length::from_bits(2 << Length::FRACTION_BITS)),
            ..BandRecord::empty()
        };
        course(&Procedure::new(), &record, &histories.into_bands().0[0])
    }

    /// Twice the wire on the same way lies twice as high; twice the way for the same wire half as high. The mean of
    /// the band is 2 mm.
    #[test]
    fn height_goes_with_the_wire_and_against_the_way() {
        for (feed, pace, ratio) in [(2.0, 1.0, 2.0), (1.0, 2.0, 0.5), (1.0, 1.0, 1.0), (2.0, 2.0, 1.0)] {
            let course = made(feed, pace);
            let [here, there] = [135.0, 270.0].map(|at| course.at(at).expect("seen"));
            assert!((here / there - ratio).abs() < 0.02 * ratio, "{feed} {pace}: {here} and {there}");
        }
        let even = made(1.0, 1.0);
        assert!((even.at(45.0).expect("seen") - 2.0).abs() < 0.02);
        assert_eq!((even.at(-1.0), even.at(359.0)), (even.at(719.0), even.at(359.0)));
    }
}
