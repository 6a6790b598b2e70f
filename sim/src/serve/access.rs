//! Who may look on, and who may act.
//!
//! Decides: that a browser on this machine may look on, anybody else with a token, and that acts need the second
//! token from everywhere.
//! Assumes: the head of a request, and the address it came from.
//! Never: takes a cookie: what a browser sends by itself opens nothing, but for looking on at this machine, and
//! that only where it asks for this machine by its own name and from its own page.

use hyper::HeaderMap;
use hyper::header::{AUTHORIZATION, FORWARDED, HOST, HeaderValue, ORIGIN, VIA};
use std::fmt::Write as _;
use std::net::{IpAddr, Ipv6Addr};
use subtle::ConstantTimeEq as _;

/// What somebody may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Right {
    /// See everything.
    Look,
    /// See everything and act.
    Act,
}

/// Why somebody may not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Denial {
    /// The request is for another machine: a page elsewhere may have led a browser here.
    Host,
    /// The request comes from another site's page.
    Origin,
    /// There is no token, and one is needed.
    NoToken,
    /// The token is wrong.
    WrongToken,
}

/// The two tokens of this run.
#[derive(Clone)]
pub struct Tokens {
    look: String,
    act: String,
}

impl Tokens {
    /// New ones: 96 bits for looking on, 160 for acting.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn random() -> anyhow::Result<Self> {
        Ok(Self { look: random_token(12)?, act: random_token(20)? })
    }
    /// For looking on.
    pub fn look(&self) -> &str {
        &self.look
    }
    /// For acting.
    pub fn act(&self) -> &str {
        &self.act
    }
    fn right_of(&self, token: &[u8]) -> Option<Right> {
        // Both are compared, whichever fits, and in a time that does not depend on where they differ.
        let is_act = bool::from(token.ct_eq(self.act.as_bytes()));
        let is_look = bool::from(token.ct_eq(self.look.as_bytes()));
        if is_act { Some(Right::Act) } else { is_look.then_some(Right::Look) }
    }
}

fn random_token(bytes: usize) -> anyhow::Result<String> {
    let mut raw = vec![0; bytes];
    getrandom::fill(&mut raw).map_err(|error| anyhow::anyhow!("no random numbers for a token: {error}"))?;
    Ok(raw.iter().fold(String::new(), |mut text, byte| {
        // Writing to a text cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

/// The address as it was meant: one of version 4 in the clothes of version 6 is of version 4.
pub fn plain_address(address: IpAddr) -> IpAddr {
    address.to_canonical()
}

/// Is the request for this machine by an address, or by the name every machine has for itself? A name that somebody
/// else can give to this machine is none of these.
///
/// # Errors
/// It is not.
pub fn check_host(head: &HeaderMap) -> Result<(), Denial> {
    host(head).map(|_| ()).ok_or(Denial::Host)
}

/// What the sender may do.
///
/// # Errors
/// Nothing, and why.
pub fn right(head: &HeaderMap, peer: IpAddr, tokens: &Tokens) -> Result<Right, Denial> {
    let (name, whole) = host(head).ok_or(Denial::Host)?;
    check_origin(head, whole)?;
    if let Some(token) = head.get(AUTHORIZATION) {
        // The name of the scheme is in any case (RFC 9110, 11.1).
        let (scheme, token) = token.as_bytes().split_at_checked(7).ok_or(Denial::WrongToken)?;
        if !scheme.eq_ignore_ascii_case(b"Bearer ") {
            return Err(Denial::WrongToken);
        }
        return tokens.right_of(token).ok_or(Denial::WrongToken);
    }
    let is_passed_on = [FORWARDED, VIA].iter().any(|name| head.contains_key(name))
        || ["x-forwarded-for", "x-real-ip", "x-forwarded-host"].iter().any(|name| head.contains_key(*name));
    let is_local = plain_address(peer).is_loopback() && is_local_name(name) && !is_passed_on;
    if is_local { Ok(Right::Look) } else { Err(Denial::NoToken) }
}

fn only(head: &HeaderMap, name: impl hyper::header::AsHeaderName) -> Option<&HeaderValue> {
    let mut values = head.get_all(name).iter();
    values.next().filter(|_| values.next().is_none())
}

/// The host without its port, and as it was written.
fn host(head: &HeaderMap) -> Option<(&str, &str)> {
    let whole = only(head, HOST)?.to_str().ok()?;
    let (name, port) = match whole.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((name, port)) => (name, port.strip_prefix(':')),
        None => whole.split_once(':').map_or((whole, None), |(name, port)| (name, Some(port))),
    };
    let is_port = port.is_none_or(|port| port.parse::<u16>().is_ok());
    let is_version_6 = whole.starts_with('[');
    let is_address =
        if is_version_6 { name.parse::<Ipv6Addr>().is_ok() } else { name.parse::<IpAddr>().is_ok() };
    let is_known = is_address || (!is_version_6 && name.eq_ignore_ascii_case("localhost"));
    (is_port && is_known).then_some((name, whole))
}

fn is_local_name(name: &str) -> bool {
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok_and(|address| plain_address(address).is_loopback())
}

/// Where a browser says which page asks, it must be one from here.
fn check_origin(head: &HeaderMap, host: &str) -> Result<(), Denial> {
    let mut origins = head.get_all(ORIGIN).iter();
    let is_own = |origin: &HeaderValue| {
        let origin = origin.to_str().unwrap_or_default();
        ["http://", "https://"].iter().any(|scheme| origin.strip_prefix(scheme) == Some(host))
    };
    let site = head.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let is_here = matches!(site, None | Some(b"same-origin" | b"none"));
    if origins.all(is_own) && is_here { Ok(()) } else { Err(Denial::Origin) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::header::HeaderName;

    fn head(lines: &[(&str, &str)]) -> HeaderMap {
        let mut head = HeaderMap::new();
        for (name, value) in lines {
            head.append(
                HeaderName::from_bytes(name.as_bytes()).expect("a name"),
                value.parse().expect("a value"),
            );
        }
        head
    }

    /// From where, with which head, and what comes of it.
    type Case<'a> = ([u8; 4], &'a [(&'a str, &'a str)], Result<Right, Denial>);

    #[test]
    fn a_table_of_who_may_what() {
        let tokens = Tokens::random().expect("random numbers");
        let (look, act) = (format!("Bearer {}", tokens.look()), format!("Bearer {}", tokens.act()));
        let here = [127, 0, 0, 1];
        let there = [192, 0, 2, 9];
        let own = ("host", "127.0.0.1:80");
        let shop = ("host", "192.0.2.1:80");
        let (look, act) = (("authorization", &*look), ("authorization", &*act));
        let cases: [Case<'_>; 19] = [
            (here, &[own], Ok(Right::Look)),
            (here, &[("host", "localhost")], Ok(Right::Look)),
            (here, &[("host", "[::1]:80")], Ok(Right::Look)),
            (here, &[("host", "evil.example:80")], Err(Denial::Host)),
            (here, &[], Err(Denial::Host)),
            (here, &[own, own], Err(Denial::Host)),
            (here, &[("host", "127.0.0.1:80:80")], Err(Denial::Host)),
            (here, &[shop], Err(Denial::NoToken)),
            (here, &[own, ("origin", "http://127.0.0.1:80")], Ok(Right::Look)),
            (here, &[own, ("origin", "http://127.0.0.1:81")], Err(Denial::Origin)),
            (here, &[own, ("origin", "null")], Err(Denial::Origin)),
            (here, &[own, ("sec-fetch-site", "cross-site")], Err(Denial::Origin)),
            (here, &[own, ("x-forwarded-for", "127.0.0.1")], Err(Denial::NoToken)),
            (there, &[own], Err(Denial::NoToken)),
            (there, &[shop, look], Ok(Right::Look)),
            (there, &[shop, act], Ok(Right::Act)),
            (there, &[shop, act, ("origin", "http://evil.example")], Err(Denial::Origin)),
            (here, &[own, ("authorization", "Bearer ")], Err(Denial::WrongToken)),
            (here, &[own, ("authorization", "Basic YTpi")], Err(Denial::WrongToken)),
        ];
        for (peer, lines, right_expected) in cases {
            assert_eq!(right(&head(lines), peer.into(), &tokens), right_expected, "{peer:?} {lines:?}");
        }
    }

    #[test]
    fn tokens_differ_from_each_other_and_from_run_to_run() {
        let (one, other) = (Tokens::random().expect("random"), Tokens::random().expect("random"));
        assert_eq!((one.look().len(), one.act().len()), (24, 40));
        assert!(one.look() != other.look() && one.act() != other.act());
        // Part of a token, or one with something behind it, is none.
        for wrong in [&one.act()[..24], &format!("{} ", one.act())] {
            assert_eq!(one.right_of(wrong.as_bytes()), None);
        }
    }
}
