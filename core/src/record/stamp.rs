//! When a record began by the calendar, and of which piece it is, as far as somebody told the board.
//!
//! Decides: what a serial may be: 1 to [`LONGEST_SERIAL`] printable characters of ASCII.
//! Assumes: whoever makes a stamp knows that what it says belongs to the record.
//! Never: judges, nor is seen by anything that does.

use core::fmt;

/// Longest serial, in characters.
pub const LONGEST_SERIAL: usize = 24;

/// What a serial may be, in words.
#[cfg(feature = "serde")]
const ALLOWED: &str = "1 to 24 printable characters of ASCII";

/// The serial of a pipe or tool joint.
///
/// ```
/// use bandward::record::stamp::Serial;
///
/// assert_eq!(Serial::new(b"TJ 0417").unwrap().as_str(), "TJ 0417");
/// assert!([&b""[..], b"TJ\n0417", "TJ\u{e4}".as_bytes(), &[b'7'; 25]].into_iter().all(|text| Serial::new(text).is_none()));
/// ```
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Serial {
    /// Filled with zeros, which no serial holds.
    text: [u8; LONGEST_SERIAL],
}

impl Serial {
    /// From its characters; none where they are none, too many, or others than printable ones of ASCII.
    pub fn new(text: &[u8]) -> Option<Self> {
        let mut serial = Self { text: [0; LONGEST_SERIAL] };
        let is_printable = text.iter().all(|byte| matches!(byte, b' '..=b'~'));
        if text.is_empty() || !is_printable || text.len() > LONGEST_SERIAL {
            return None;
        }
        for (slot, byte) in serial.text.iter_mut().zip(text) {
            *slot = *byte;
        }
        Some(serial)
    }
    /// As text.
    pub fn as_str(&self) -> &str {
        let mut parts = self.text.split(|&byte| byte == 0);
        parts.next().and_then(|text| core::str::from_utf8(text).ok()).unwrap_or_default()
    }
}

impl fmt::Debug for Serial {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.as_str().fmt(to)
    }
}

impl fmt::Display for Serial {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(self.as_str())
    }
}

#[cfg(feature = "serde")]
impl serde::Serialize for Serial {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.as_str())
    }
}

#[cfg(feature = "serde")]
impl<'de> serde::Deserialize<'de> for Serial {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Text;
        impl serde::de::Visitor<'_> for Text {
            type Value = Serial;
            fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
                to.write_str(ALLOWED)
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Serial, E> {
                Serial::new(text.as_bytes()).ok_or_else(|| E::custom(ALLOWED))
            }
        }
        from.deserialize_str(Text)
    }
}

/// What a record carries beside what was judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Stamp {
    /// When it began in UTC, seconds since the beginning of 1970; absent where the board was not told the date.
    pub began_utc_s: Option<u32>,
    /// The serial of the piece; absent where none was given.
    pub serial: Option<Serial>,
}

impl Stamp {
    /// Nothing was told.
    pub const NONE: Self = Self { began_utc_s: None, serial: None };
}
