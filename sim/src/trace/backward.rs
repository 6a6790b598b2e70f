//! Records of a log whose newest row stands first, held until the oldest has been found.
//!
//! Decides: how much of such a log is held: [`MOST_BYTES`].
//! Never: takes more than that; a longer log is refused.

/// Bytes that are held, four a cell besides its text: a day at ten rows a second and a hundred and fifty bytes a row.
pub const MOST_BYTES: usize = 128 << 20;

/// Records, the last of which is given first.
#[derive(Default)]
pub struct Backward {
    /// The cells of all records, one behind the other, each with a byte behind it.
    text: Vec<u8>,
    /// Line, number of cells, and where the text begins.
    records: Vec<(u64, u32, usize)>,
    /// Lengths of the cells.
    lengths: Vec<u32>,
}

impl Backward {
    /// Takes a record; false where there is no room.
    pub fn push<'a>(&mut self, line: u64, cells: impl Iterator<Item = &'a [u8]>) -> bool {
        let (start, before) = (self.text.len(), self.lengths.len());
        for cell in cells {
            self.text.extend_from_slice(cell);
            self.text.push(0);
            self.lengths.push(cell.len() as u32);
        }
        self.records.push((line, (self.lengths.len() - before) as u32, start));
        let of_records = size_of_val(self.records.as_slice()) + size_of_val(self.lengths.as_slice());
        self.text.len() + of_records <= MOST_BYTES
    }
    /// Puts the last record into `text`, with the end of each cell in `ends`; returns its line.
    pub fn pop(&mut self, text: &mut Vec<u8>, ends: &mut Vec<usize>) -> Option<u64> {
        let (line, count, start) = self.records.pop()?;
        text.clear();
        text.extend_from_slice(&self.text[start..]);
        self.text.truncate(start);
        let mut end = 0;
        for length in self.lengths.drain(self.lengths.len() - count as usize..) {
            end += length as usize;
            ends.push(end);
            end += 1;
        }
        Some(line)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_comes_first() {
        let mut backward = Backward::default();
        for (line, cells) in [(2, vec!["a", "", "bc"]), (3, vec![""]), (7, vec!["d", "e"])] {
            assert!(backward.push(line, cells.into_iter().map(str::as_bytes)));
        }
        let mut text = Vec::new();
        let mut told = Vec::new();
        loop {
            let mut ends = Vec::new();
            let Some(line) = backward.pop(&mut text, &mut ends) else { break };
            let mut start = 0;
            let cells: Vec<_> = ends
                .iter()
                .map(|&end| {
                    let cell = String::from_utf8_lossy(&text[start..end]).into_owned();
                    start = end + 1;
                    cell
                })
                .collect();
            told.push((line, cells.join("|")));
        }
        assert_eq!(told, [(7, "d|e".to_owned()), (3, String::new()), (2, "a||bc".to_owned())]);
    }
}
