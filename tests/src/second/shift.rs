//! A shift: joints one after the other in one trace.
//!
//! Decides: how joints follow each other: clock and encoder run on.

use super::joint::{Joint, Order};
use super::rig::Rig;
use bandward_sim::trace::Row;

/// Good joints on one rig, from this seed on.
pub fn good(rate_hz: f64, joints: u64, seed: u64) -> (Rig, Vec<Order>) {
    let rig = Order::good(rate_hz, seed).rig;
    let order = |at: u64| Order { rig, ..Order::good(rate_hz, seed + at) };
    (rig, (0..joints).map(order).collect())
}

/// The rows of these joints on one rig.
pub fn rows(rig: Rig, orders: Vec<Order>) -> impl Iterator<Item = Row> {
    let mut orders = orders.into_iter();
    let mut now: Option<Joint> = None;
    let (mut from_us, mut zero_deg) = (0, rig.encoder.zero_deg);
    std::iter::from_fn(move || {
        loop {
            if let Some(joint) = &mut now {
                if let Some(mut row) = joint.next() {
                    row.time_us += from_us;
                    return Some(row);
                }
                from_us += (joint.last_s() * 1e6) as u64;
                zero_deg = joint.last_spindle_deg();
            }
            let mut order = orders.next()?;
            order.rig.encoder.zero_deg = zero_deg;
            now = Some(order.joint());
        }
    })
}
