//! Delimited text, one record at a time.
//!
//! Decides: where a record and its cells begin and end (RFC 4180 quoting; any one-byte delimiter;
//! LF or CRLF; a byte order mark and blank lines are passed over).
//! Assumes: nothing about the bytes.
//! Never: holds more than one record besides a buffer of fixed size, whatever the length of the
//! input: a quote that is never closed is an error after [`LONGEST`] bytes, not a full memory. Only a log that is
//! turned round is held, and refused where it is too long.

use super::backward::Backward;
use std::io::Read;

/// The most blank lines in a row that are passed over: more than anybody pressed for, and read in a moment.
pub const MOST_BLANK: u64 = 1_000_000;
/// The longest record taken, bytes.
pub const LONGEST: usize = 1 << 16;
const BUFFER: usize = 1 << 18;

/// Why there is no next record.
#[derive(Debug)]
pub enum RecordError {
    /// The input cannot be read on.
    Read(std::io::Error),
    /// No end of the record within [`LONGEST`] bytes.
    TooLong,
    /// The input ends inside a quoted cell.
    OpenQuote,
    /// More than [`MOST_BLANK`] blank lines in a row.
    Blank,
    /// A log whose newest row stands first is longer than [`super::backward::MOST_BYTES`].
    TooLongToTurn,
}

/// Records of delimited text; the current one is looked at with [`Records::cell`].
pub struct Records<R> {
    input: R,
    delimiter: u8,
    buffer: Vec<u8>,
    // Not yet looked at: buffer[start..end].
    start: usize,
    end: usize,
    at_end: bool,
    lines_passed: u64,
    // The current record: the line it begins on, where each of its cells ends, and where their text
    // lies: in `buffer` from `base` on, or in `unquoted` where there is a quote in it.
    line: u64,
    ends: Vec<usize>,
    base: usize,
    has_quote: bool,
    unquoted: Vec<u8>,
    blank: u64,
    // Of a log that is read from its end.
    backward: Option<Backward>,
}

impl<R: Read> Records<R> {
    /// Starts at the beginning of `input`.
    pub fn new(input: R, delimiter: u8) -> Self {
        Self {
            input,
            delimiter,
            buffer: vec![0; BUFFER],
            start: 0,
            end: 0,
            at_end: false,
            lines_passed: 0,
            line: 0,
            ends: Vec::new(),
            base: 0,
            has_quote: false,
            unquoted: Vec::new(),
            blank: 0,
            backward: None,
        }
    }
    /// Reads all that is left, so that the records come from the last to the first; the current one too where
    /// it `is_row`.
    ///
    /// # Errors
    /// [`RecordError`]; there is more than can be held.
    pub fn turn_round(&mut self, is_row: bool) -> Result<(), RecordError> {
        let mut backward = Backward::default();
        let mut is_there = is_row;
        loop {
            if is_there {
                let cells = (0..self.cell_count()).filter_map(|index| self.cell(index));
                if !backward.push(self.line, cells) {
                    return Err(RecordError::TooLongToTurn);
                }
            }
            if !self.advance()? {
                break;
            }
            is_there = true;
        }
        self.backward = Some(backward);
        Ok(())
    }
    /// Goes to the next record that is not a blank line; false at the end of the input.
    ///
    /// # Errors
    /// [`RecordError`], after which there is no next record.
    pub fn advance(&mut self) -> Result<bool, RecordError> {
        self.ends.clear();
        if let Some(backward) = &mut self.backward {
            self.has_quote = true;
            let line = backward.pop(&mut self.unquoted, &mut self.ends);
            self.line = line.unwrap_or(self.line);
            return Ok(line.is_some());
        }
        loop {
            self.line = self.lines_passed + 1;
            let Some(length) = self.take_line()? else { return Ok(false) };
            if length == 0 {
                self.pass_blank()?;
                continue;
            }
            let text = &self.buffer[self.base..self.base + length];
            self.has_quote = !split(text, self.delimiter, &mut self.ends);
            if self.has_quote {
                self.ends.clear();
                self.unquote(length)?;
            }
            return Ok(true);
        }
    }
    /// Takes note of a blank line, or of a record of which only the caller knows that it is blank.
    ///
    /// # Errors
    /// They are too many.
    pub fn pass_blank(&mut self) -> Result<(), RecordError> {
        self.blank += 1;
        if self.blank > MOST_BLANK { Err(RecordError::Blank) } else { Ok(()) }
    }
    /// Takes note of a record that is not blank.
    pub fn pass_full(&mut self) {
        self.blank = 0;
    }
    /// What has been read in and not been looked at.
    #[inline]
    pub fn rest(&self) -> &[u8] {
        self.buffer.get(self.start..self.end).unwrap_or_default()
    }
    /// Passes over so many bytes of it, one line with its end, which somebody else has read.
    #[inline]
    pub fn pass_read(&mut self, length: usize) {
        self.start += length;
        self.lines_passed += 1;
        self.line = self.lines_passed;
        self.blank = 0;
    }
    /// Number of cells of the current record.
    pub fn cell_count(&self) -> usize {
        self.ends.len()
    }
    /// A cell of the current record, quotes taken off.
    #[inline]
    pub fn cell(&self, index: usize) -> Option<&[u8]> {
        let end = *self.ends.get(index)?;
        let start = if index == 0 { 0 } else { self.ends[index - 1] + 1 };
        if self.has_quote {
            self.unquoted.get(start..end)
        } else {
            self.buffer.get(self.base + start..self.base + end)
        }
    }
    /// The line on which the current record begins, counted from 1.
    pub fn line(&self) -> u64 {
        self.line
    }
    /// Passes over one line, whatever is on it; false at the end of the input.
    ///
    /// # Errors
    /// As [`Records::advance`].
    pub fn skip_line(&mut self) -> Result<bool, RecordError> {
        self.line = self.lines_passed + 1;
        Ok(self.take_line()?.is_some())
    }

    /// Takes a line: sets `base` and returns the length, line end taken off.
    fn take_line(&mut self) -> Result<Option<usize>, RecordError> {
        let mut searched = 0;
        loop {
            let rest = &self.buffer[self.start + searched..self.end];
            if let Some(at) = memchr::memchr(b'\n', rest) {
                return Ok(Some(self.pass_line(searched + at, 1)));
            }
            searched += rest.len();
            if searched > LONGEST {
                return Err(RecordError::TooLong);
            }
            if self.at_end {
                return Ok((searched > 0).then(|| self.pass_line(searched, 0)));
            }
            self.fill().map_err(RecordError::Read)?;
        }
    }
    /// Passes over a line of so many bytes and its line feed; returns the length without a carriage
    /// return at its end.
    fn pass_line(&mut self, length: usize, line_feed: usize) -> usize {
        self.base = self.start;
        self.start += length + line_feed;
        self.lines_passed += 1;
        let text = &self.buffer[self.base..self.base + length];
        length - usize::from(text.last() == Some(&b'\r'))
    }
    /// Reads on, having moved what is left to the front.
    fn fill(&mut self) -> std::io::Result<()> {
        let is_first = self.lines_passed == 0 && self.start == 0;
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        loop {
            match self.input.read(&mut self.buffer[self.end..]) {
                Ok(0) => self.at_end = true,
                Ok(count) => self.end += count,
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(error),
            }
            // A byte order mark may come in pieces.
            if self.at_end || !is_first || self.end >= 3 {
                break;
            }
        }
        if is_first && self.buffer[..self.end].starts_with(b"\xef\xbb\xbf") {
            self.start = 3;
        }
        Ok(())
    }
    /// Copies the cells of a record that begins with the line just taken, quotes taken off.
    fn unquote(&mut self, length: usize) -> Result<(), RecordError> {
        self.unquoted.clear();
        let mut length = length;
        let mut place = Place::CellStart;
        loop {
            for &byte in &self.buffer[self.base..self.base + length] {
                place = place.after(byte, self.delimiter);
                match place {
                    Place::CellStart => {
                        self.ends.push(self.unquoted.len());
                        self.unquoted.push(byte);
                    }
                    Place::Inside | Place::Outside => self.unquoted.push(byte),
                    Place::Opened | Place::QuoteInside => {}
                }
            }
            if !matches!(place, Place::Inside | Place::Opened) {
                self.ends.push(self.unquoted.len());
                return Ok(());
            }
            self.unquoted.push(b'\n');
            if self.unquoted.len() > LONGEST {
                return Err(RecordError::TooLong);
            }
            length = self.take_line()?.ok_or(RecordError::OpenQuote)?;
        }
    }
}

/// Finds where each cell of a record ends, eight bytes at a time; false where there is a quote in it.
fn split(text: &[u8], delimiter: u8, ends: &mut Vec<usize>) -> bool {
    let mut has_quote = 0;
    let mut look = |start: usize, bytes: [u8; 8]| {
        let word = u64::from_le_bytes(bytes);
        has_quote |= marked(word, b'"');
        let mut marks = marked(word, delimiter);
        while marks != 0 {
            ends.push(start + marks.trailing_zeros() as usize / 8);
            marks &= marks - 1;
        }
    };
    let (words, rest) = text.as_chunks::<8>();
    for (index, &word) in words.iter().enumerate() {
        look(8 * index, word);
    }
    // Neither mark is a zero byte.
    let mut last = [0; 8];
    last[..rest.len()].copy_from_slice(rest);
    look(8 * words.len(), last);
    ends.push(text.len());
    has_quote == 0
}

/// The top bit of each byte of a word that equals `byte`.
fn marked(word: u64, byte: u8) -> u64 {
    const LOW: u64 = u64::from_le_bytes([0x7f; 8]);
    let difference = word ^ u64::from_le_bytes([byte; 8]);
    // The sum carries into the top bit of every byte that is not zero, and never beyond.
    !(((difference & LOW) + LOW) | difference | LOW)
}

/// Where in a record with quotes the last byte lay.
#[derive(Clone, Copy)]
enum Place {
    /// It parted two cells (or there was none yet).
    CellStart,
    /// It opened a quoted cell.
    Opened,
    /// Within quotes.
    Inside,
    /// A quote within quotes: the closing one, or the first of a pair that stands for one.
    QuoteInside,
    /// In a cell, not within quotes.
    Outside,
}

impl Place {
    fn after(self, byte: u8, delimiter: u8) -> Self {
        match (self, byte) {
            (Self::CellStart, b'"') => Self::Opened,
            (Self::Opened | Self::Inside, b'"') => Self::QuoteInside,
            (Self::Opened | Self::Inside, _) | (Self::QuoteInside, b'"') => Self::Inside,
            (_, byte) if byte == delimiter => Self::CellStart,
            _ => Self::Outside,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(text: &[u8], delimiter: u8) -> Result<Vec<(u64, Vec<String>)>, RecordError> {
        let mut records = Records::new(text, delimiter);
        let mut all = Vec::new();
        while records.advance()? {
            let cells = (0..records.cell_count()).filter_map(|index| records.cell(index));
            let cells = cells.map(|cell| String::from_utf8_lossy(cell).into_owned()).collect();
            all.push((records.line(), cells));
        }
        Ok(all)
    }

    fn expect(text: &str, expected: &[(u64, &[&str])]) {
        let got = cells(text.as_bytes(), b',').unwrap();
        let expected: Vec<(u64, Vec<String>)> = expected
            .iter()
            .map(|(line, cells)| (*line, cells.iter().map(ToString::to_string).collect()))
            .collect();
        assert_eq!(got, expected, "{text:?}");
    }

    #[test]
    fn records_and_their_lines() {
        expect("", &[]);
        expect("\n\r\n\n", &[]);
        expect("a,b\n1,2\n", &[(1, &["a", "b"]), (2, &["1", "2"])]);
        expect("\u{feff}a,b\r\n\r\n1,\r\n", &[(1, &["a", "b"]), (3, &["1", ""])]);
        expect("a,b\n1,2", &[(1, &["a", "b"]), (2, &["1", "2"])]);
        expect(",\n", &[(1, &["", ""])]);
    }

    #[test]
    fn quotes_after_rfc_4180() {
        expect("\"a\",\"b,c\"\n", &[(1, &["a", "b,c"])]);
        expect("\"two\nlines\",x\n1,2\n", &[(1, &["two\nlines", "x"]), (3, &["1", "2"])]);
        expect("\"say \"\"so\"\"\",\"\"\n", &[(1, &["say \"so\"", ""])]);
        // Not RFC 4180: a quote within an unquoted cell is a character like any other.
        expect("width 1\",x\n1,2\n", &[(1, &["width 1\"", "x"]), (2, &["1", "2"])]);
        assert!(matches!(cells(b"a\n\"b\n", b','), Err(RecordError::OpenQuote)));
    }

    #[test]
    fn records_longer_than_the_limit_are_refused() {
        let long = vec![b'1'; LONGEST + BUFFER];
        assert!(matches!(cells(&long, b','), Err(RecordError::TooLong)));
        let open = [b"\"".as_slice(), &b"1,2\n".repeat(LONGEST)].concat();
        assert!(matches!(cells(&open, b','), Err(RecordError::TooLong)));
        let just = [vec![b'1'; LONGEST], b"\n2\n".to_vec()].concat();
        assert_eq!(cells(&just, b',').unwrap().len(), 2);
    }

    #[test]
    fn records_across_the_buffer_end_are_whole() {
        let row = "12.25,,\"x\",7\n";
        let count = 3 * BUFFER / row.len();
        let all = cells(row.repeat(count).as_bytes(), b',').unwrap();
        assert_eq!(all.len(), count);
        assert!(all.iter().all(|(_, cells)| *cells == ["12.25", "", "x", "7"]));
    }
}
