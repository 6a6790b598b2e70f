//! Cells that are written only when the value changes.
//!
//! Decides: whether a column is such a one, and how long a value stood unwritten in the first rows.
//! Assumes: a value that was measured again and again would be written twice alike now and then, or at even spacing.
//! Never: holds a column that is written at even spacing: that is a slow meter, not a still value.

use super::Guess;
use super::sheet::Sheet;
use super::time::TimeGuess;
use bandward::Channel;

/// At most one cell in so many is written.
const ONE_IN: usize = 3;
/// A value may stand so many times longer than it was seen to: the first rows are not all.
const LONGER: f64 = 2.0;

/// The longest a value may stand unwritten, in whole seconds, for each channel that is written when it changes; in
/// the order of `guesses`.
pub fn holds(
    sheet: &Sheet,
    time: Option<&TimeGuess>,
    guesses: &[Guess],
    warnings: &mut Vec<String>,
) -> Vec<Option<u64>> {
    let times: Vec<Option<f64>> =
        sheet.rows.iter().map(|row| time.and_then(|time| time.seconds(sheet, row))).collect();
    let hold = |guess: &Guess| {
        let written = written(sheet, guess.column)?;
        let name = guess.channel.name();
        if matches!(guess.channel, Channel::Torch | Channel::Spindle) {
            warnings.push(format!(
                "most cells of `{name}` are empty: they are no readings, for what moves all the time is never held"
            ));
            return None;
        }
        let Some(stood_s) = longest(&written, &times) else {
            warnings.push(format!(
                "most cells of `{name}` are empty: if they are written only when they change, say with `hold` how long \
                 a value may stand"
            ));
            return None;
        };
        let hold_s = (stood_s * LONGER).ceil().clamp(1.0, 3600.0) as u64;
        warnings.push(format!(
            "`{name}` is written only when it changes, so it seems: an empty cell repeats the one before for {hold_s} s; \
             check `hold`"
        ));
        Some(hold_s)
    };
    guesses.iter().map(hold).collect()
}

/// The rows in which a column that is written when it changes has a cell; `None` for any other column.
fn written(sheet: &Sheet, column: usize) -> Option<Vec<usize>> {
    let cells: Vec<Option<&str>> =
        sheet.cells(column).map(|cell| Some(cell).filter(|cell| !cell.is_empty())).collect();
    let rows: Vec<usize> = (0..cells.len()).filter(|&row| cells[row].is_some()).collect();
    let is_sparse = !rows.is_empty() && rows.len() * ONE_IN <= cells.len();
    let always_differs = rows.windows(2).all(|pair| cells[pair[0]] != cells[pair[1]]);
    let gaps = || rows.windows(2).map(|pair| pair[1] - pair[0]);
    // From one cell to the next it is never twice as far as elsewhere where a meter is asked at even spacing.
    let is_even = rows.len() > 2 && gaps().max() < gaps().min().map(|least| 2 * least);
    (is_sparse && always_differs && !is_even).then_some(rows)
}

/// How long the first rows show a value unwritten, s.
fn longest(rows: &[usize], times: &[Option<f64>]) -> Option<f64> {
    let ends = rows.iter().skip(1).copied().chain([times.len().checked_sub(1)?]);
    let stood = rows.iter().zip(ends).filter_map(|(&from, to)| {
        Some((times.get(to).copied().flatten()? - times.get(from).copied().flatten()?).abs())
    });
    stood.fold(None, |longest, stood| Some(f64::max(longest.unwrap_or(0.0), stood)))
}
