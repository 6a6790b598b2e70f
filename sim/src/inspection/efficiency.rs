//! The deposition efficiency that measured bands speak for.
//!
//! Decides: how far measured metal is from expected metal, and how sure that is.
//! Assumes: bands are independent of each other; gauge readings of one band are not, so that a band counts once.
//! Never: proposes anything from fewer than two bands, nor where no wire feed was measured.
//!
//! Of each band the mean ratio of measured to expected is taken: heights, times widths where those were gauged too.
//! The mean of the bands' ratios has the standard error s / sqrt(n), and the interval is that of Student's t with
//! n - 1 degrees of freedom (W. S. Gosset, Biometrika 6, 1908). Half of the gauge's last digit is added to both sides:
//! readings rounded the same way are off the same way, so that more of them do not make it smaller.

use super::student::t95;

/// No wire of a sound arc is lost beyond this share: an interval that reaches below says nothing. Common practice, no
/// source.
const LEAST: f64 = 0.6;
/// Nor may an interval reach further above all of the wire than this. Invented.
const MOST: f64 = 1.1;

/// One reading of the gauge beside what was expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// The band, from 1.
    pub band: u16,
    /// Where, degrees round from the tie-in.
    pub at_deg: f64,
    /// Measured height, mm.
    pub measured_mm: f64,
    /// How far it may be off as it was written, mm.
    pub within_mm: f64,
    /// Expected height, mm.
    pub expected_mm: Option<f64>,
    /// Measured width by expected width, where it was gauged.
    pub width_ratio: Option<f64>,
    /// The band's end lies over its start there: it says nothing of the efficiency.
    pub is_overlapped: bool,
}

impl Compared {
    /// Measured metal by expected metal, where that says something.
    pub fn ratio(&self) -> Option<f64> {
        let expected_mm = self.expected_mm.filter(|expected| *expected > 0.0 && !self.is_overlapped)?;
        Some(self.measured_mm / expected_mm * self.width_ratio.unwrap_or(1.0))
    }
    /// How far that may be off by the gauge alone.
    fn ratio_within(&self) -> f64 {
        let expected_mm = self.expected_mm.filter(|expected| *expected > 0.0);
        expected_mm.map_or(0.0, |expected| self.within_mm / expected * self.width_ratio.unwrap_or(1.0))
    }
}

/// What is proposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// Mean ratio of measured to expected.
    pub ratio: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Half the 95 % interval, with what the gauge cannot tell.
    pub within: f64,
    /// Bands it rests on.
    pub bands: usize,
    /// Readings it rests on.
    pub readings: usize,
    /// What the procedure gives, 0 to 1.
    pub now: f64,
}

impl Proposal {
    /// The efficiency that is proposed, 0 to 1 and beyond where the readings cannot be true.
    pub fn efficiency(&self) -> f64 {
        self.now * self.ratio
    }
    /// The ends of its 95 % interval.
    pub fn interval(&self) -> [f64; 2] {
        [self.ratio - self.within, self.ratio + self.within].map(|ratio| self.now * ratio)
    }
    /// Is what the procedure gives outside the interval?
    pub fn is_a_change(&self) -> bool {
        let [low, high] = self.interval();
        !(low..=high).contains(&self.now)
    }
    /// More metal cannot be laid than was fed.
    pub fn is_possible(&self) -> bool {
        self.interval()[0] <= 1.0
    }
    /// Is the interval within what is plausible, and so narrow that it says something?
    pub fn is_sure(&self) -> bool {
        let [low, high] = self.interval();
        low >= LEAST && high <= MOST && self.efficiency() <= 1.0
    }
}

/// Why nothing is proposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoProposal {
    /// No height was measured beside one that was expected.
    NoReading,
    /// The wire feed was estimated from the current.
    FeedNotMeasured,
    /// One band has no scatter.
    OneBand,
}

impl NoProposal {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoReading => "no height was gauged where one was to be expected from the trace",
            Self::FeedNotMeasured => "the wire feed was not measured: it was estimated from the current",
            Self::OneBand => "one band says nothing of the scatter: two are needed",
        }
    }
}

/// What the readings speak for, where the procedure gives `now`.
///
/// # Errors
/// Says why nothing is proposed.
pub fn propose(readings: &[Compared], now: f64, is_feed_measured: bool) -> Result<Proposal, NoProposal> {
    let mut bands: Vec<(u16, f64, usize)> = Vec::new();
    let mut gauge = 0.0;
    for (reading, ratio) in readings.iter().filter_map(|reading| Some((reading, reading.ratio()?))) {
        gauge += reading.ratio_within();
        match bands.iter_mut().find(|(known, ..)| *known == reading.band) {
            Some((_, sum, count)) => (*sum, *count) = (*sum + ratio, *count + 1),
            None => bands.push((reading.band, ratio, 1)),
        }
    }
    if bands.is_empty() {
        return Err(NoProposal::NoReading);
    }
    if !is_feed_measured {
        return Err(NoProposal::FeedNotMeasured);
    }
    if bands.len() < 2 {
        return Err(NoProposal::OneBand);
    }
    let means: Vec<f64> = bands.iter().map(|(_, sum, count)| sum / *count as f64).collect();
    let count = means.len() as f64;
    let ratio = means.iter().sum::<f64>() / count;
    let variance = means.iter().map(|mean| (mean - ratio).powi(2)).sum::<f64>() / (count - 1.0);
    let standard_error = (variance / count).sqrt();
    let readings: usize = bands.iter().map(|(.., count)| count).sum();
    let within = t95(means.len() as u32 - 1) * standard_error + gauge / readings as f64;
    Ok(Proposal { ratio, standard_error, within, bands: means.len(), readings, now })
}
