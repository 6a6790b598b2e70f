//! Choices out of any bytes.
//!
//! Decides: that what is not there is zero.
//! Assumes: nothing.
//! Never: fails.

/// Bytes, from the first to the last.
pub struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    /// From the first on.
    pub fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }
    /// Is there nothing left?
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
    /// The next one.
    pub fn byte(&mut self) -> u8 {
        let Some((&first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        first
    }
    /// The next four, the lowest first.
    pub fn word(&mut self) -> u32 {
        u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()])
    }
    /// So many, or as many as there are.
    pub fn run(&mut self, length: usize) -> &'a [u8] {
        let (run, rest) = self.0.split_at(length.min(self.0.len()));
        self.0 = rest;
        run
    }
    /// All that is left.
    pub fn rest(&mut self) -> &'a [u8] {
        std::mem::take(&mut self.0)
    }
    /// One of several.
    pub fn of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[usize::from(self.byte()) % choices.len()]
    }
}
