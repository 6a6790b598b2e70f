//! Columns that never move under the arc, as a set value does.
//!
//! Decides: which channels of a proposed layout are left out for it: a current, a voltage and a wire feed that stand or
//! go in steps, and a gas flow that stands.
//! Assumes: a living meter of these flickers within seconds, but for a gas flow of few digits (common practice, no
//! source).
//! Never: looks at what may rest honestly: a temperature, a flow of coolant, a position.

use super::plausible::lit;
use crate::input::layout::Layout;
use crate::trace::Row;
use bandward::Channel;

/// An arc that is seen for less, in all, tells nothing, s. Invented.
const LEAST_S: f64 = 10.0;
/// A meter that moves less often than once in so many seconds goes in steps. Invented.
const STEP_S: f64 = 5.0;
/// A longer wait between two rows is no time of the arc, s.
const WAIT_S: f64 = 1.0;

/// The channels that are left out, each with the reason.
pub fn left_out(rows: &[Row], layout: &Layout) -> Vec<(Channel, String)> {
    let lit = lit(rows);
    let looked_at = [Channel::Current, Channel::Voltage, Channel::Gas, Channel::Wire];
    let of_layout = looked_at.into_iter().filter(|channel| layout.channel(*channel).is_some());
    of_layout.filter_map(|channel| Some((channel, reason(channel, &lit)?))).collect()
}

fn reason(channel: Channel, lit: &[Row]) -> Option<String> {
    let read: Vec<(f64, f64)> =
        lit.iter().filter_map(|row| Some((row.time_us as f64 / 1e6, row.get(channel)?))).collect();
    let pairs = || read.windows(2).filter(|pair| (0.0..=WAIT_S).contains(&(pair[1].0 - pair[0].0)));
    let lasted_s: f64 = pairs().map(|pair| pair[1].0 - pair[0].0).sum();
    let moves = pairs().filter(|pair| pair[1].1.to_bits() != pair[0].1.to_bits()).count();
    let is_off = read.iter().all(|(_, value)| *value == 0.0);
    if lasted_s < LEAST_S || is_off {
        return None;
    }
    let what = match moves {
        0 => "never moves under the arc".to_owned(),
        _ if channel != Channel::Gas && moves as f64 * STEP_S < lasted_s => {
            format!("moves {moves} times in {lasted_s:.0} s under the arc")
        }
        _ => return None,
    };
    Some(format!(
        "`{}` is left out: it {what}: is it a set value? take its line in if it is a reading",
        channel.name()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(channel: Channel, value: impl Fn(usize) -> f64) -> Option<String> {
        let row = |at: usize| Row::at(at as u64 * 20_000).with(channel, value(at));
        reason(channel, &(0..1000).map(row).collect::<Vec<_>>())
    }

    #[test]
    fn a_set_value_stands_or_goes_in_steps_and_a_meter_flickers() {
        for channel in [Channel::Current, Channel::Voltage, Channel::Wire] {
            assert!(told(channel, |_| 300.0).is_some_and(|told| told.contains("never moves")));
            assert!(told(channel, |at| if at < 500 { 300.0 } else { 310.0 }).is_some());
            // Of whole numbers, once in two seconds.
            assert_eq!(told(channel, |at| 300.0 + (at / 100 % 2) as f64), None);
            assert_eq!(told(channel, |_| 0.0), None, "switched off");
        }
        assert!(told(Channel::Gas, |_| 17.5).is_some());
        assert_eq!(told(Channel::Gas, |at| if at < 500 { 17.0 } else { 18.0 }), None);
    }
}
