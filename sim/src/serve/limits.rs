//! How often somebody may ask.
//!
//! Decides: the most in a minute from one address, and what counts as one: of version 6 its first half.
//! Assumes: time is given.
//! Never: keeps more than [`MOST_ADDRESSES`]; who asked longest ago is forgotten first.

use super::access::plain_address;
use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::time::{Duration, Instant};

/// Addresses that are remembered.
pub const MOST_ADDRESSES: usize = 512;
const MINUTE: Duration = Duration::from_mins(1);

/// Counts by address.
#[derive(Debug)]
pub struct Limit {
    most: u32,
    counts: HashMap<IpAddr, (Instant, u32)>,
}

/// What counts as one sender.
pub fn sender(address: IpAddr) -> IpAddr {
    match plain_address(address) {
        IpAddr::V6(address) => {
            let half = u128::from(address) & !u128::from(u64::MAX);
            Ipv6Addr::from(half).into()
        }
        address @ IpAddr::V4(_) => address,
    }
}

impl Limit {
    /// At most so often a minute.
    pub fn a_minute(most: u32) -> Self {
        Self { most, counts: HashMap::new() }
    }
    /// Has this address used up its minute?
    pub fn is_spent(&self, from: IpAddr, now: Instant) -> bool {
        self.counts.get(&sender(from)).is_some_and(|&(since, count)| {
            now.saturating_duration_since(since) < MINUTE && count >= self.most
        })
    }
    /// Counts once more; false where that is too often.
    pub fn count(&mut self, from: IpAddr, now: Instant) -> bool {
        if self.is_spent(from, now) {
            return false;
        }
        let from = sender(from);
        if self.counts.len() >= MOST_ADDRESSES && !self.counts.contains_key(&from) {
            let oldest = self.counts.iter().min_by_key(|(_, (since, _))| *since).map(|(address, _)| *address);
            oldest.and_then(|oldest| self.counts.remove(&oldest));
        }
        let (since, count) = self.counts.entry(from).or_insert((now, 0));
        if now.saturating_duration_since(*since) >= MINUTE {
            (*since, *count) = (now, 0);
        }
        *count += 1;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minute_is_spent_and_comes_back_and_memory_is_bounded() {
        let (start, from) = (Instant::now(), IpAddr::from([192, 0, 2, 1]));
        let mut limit = Limit::a_minute(2);
        assert!(limit.count(from, start) && limit.count(from, start));
        assert!(!limit.count(from, start + Duration::from_secs(59)));
        assert!(limit.is_spent(from, start) && !limit.is_spent(IpAddr::from([192, 0, 2, 2]), start));
        assert!(limit.count(from, start + MINUTE));
        for last in 0..2000_u16 {
            limit.count(IpAddr::from([10, 0, (last >> 8) as u8, last as u8]), start + MINUTE);
        }
        assert_eq!(limit.counts.len(), MOST_ADDRESSES);
    }

    #[test]
    fn neighbours_of_version_6_share_their_minute() {
        let address = |text: &str| text.parse::<IpAddr>().expect("an address");
        assert_eq!(sender(address("2001:db8::1")), sender(address("2001:db8::ffff")));
        assert_ne!(sender(address("2001:db8::1")), sender(address("2001:db8:0:1::1")));
        assert_eq!(sender(address("::ffff:192.0.2.1")), address("192.0.2.1"));
    }
}
