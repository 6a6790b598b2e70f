//! The journal and the stored procedure on a flash that loses power after every single byte.

use bandward::flash::journal::{Journal, Kept, Stamped};
use bandward::flash::log::LogError;
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::{HardLimit, HardLimits};
use bandward::link::upload::UploadError;
use bandward::procedure::Range;
use bandward::record::stamp::{Serial, Stamp};
use bandward::{BandRecord, JointRecord, Quantity, Rule};
use bandward_sim::replay::sound;
use bandward_tests::flash::Flash;
use bandward_tests::made::of_voltage;
use embedded_storage::nor_flash::NorFlash;

/// The record that goes with a number, every fourth of a joint; its length in bytes varies with it.
fn record(number: u32) -> Stamped {
    let serial = Serial::new(&b"123456789012345678901234"[..number as usize % 25]);
    let stamp = Stamp { began_utc_s: (number % 2 == 1).then_some(number * 100), serial };
    if number % 4 == 3 {
        let joint = JointRecord {
            joint: number as u16,
            end_us: u64::from(number) * 100_000_000,
            bands: 3,
            ..JointRecord::default()
        };
        return Stamped { record: Kept::Joint(joint), stamp };
    }
    let mut record = BandRecord {
        band: number as u16,
        start_us: u64::from(number) * 100_000_000,
        end_us: u64::from(number) * 100_000_000 + 90_000_000,
        samples: number * 7919,
        ..BandRecord::default()
    };
    for rule in Rule::ALL.into_iter().filter(|&rule| (rule as u32 + number).is_multiple_of(3)) {
        record.outside_us.set(rule, number.wrapping_mul(2_654_435_761));
    }
    Stamped { record: Kept::Band(record), stamp }
}

/// The numbers in a journal; every record must be the one that goes with its number.
fn numbers<F: NorFlash>(journal: &mut Journal<F>) -> Vec<u32> {
    let mut numbers = Vec::new();
    journal
        .read(0, |number, found| {
            assert_eq!(*found, record(number), "record {number} is not what was written");
            numbers.push(number);
        })
        .unwrap();
    numbers
}

fn assert_unbroken(numbers: &[u32]) {
    assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1), "{numbers:?}");
}

/// Writes records until the device has been filled and filled again; cuts the power after every
/// byte on the way.
fn cut_after_every_byte<const PAGES: usize, const PAGE: usize, const WORD: usize>() {
    let range = 0..(PAGES * PAGE) as u32;
    let mut base: Flash<PAGES, PAGE, WORD> = Flash::new();
    let (mut written, mut wrapped, mut cuts) = (0, false, 0);
    // Twice round, so that every page has been given up once.
    while base.counts.bytes_erased < 2 * (PAGES * PAGE) as u64 {
        let mut whole = Journal::open(base.clone(), range.clone()).unwrap();
        assert_eq!(whole.append(&record(written)), Ok(written));
        let kept_after = numbers(&mut whole);
        let after = whole.into_flash();
        // A record that was cut takes the room of a whole one.
        let mut two = Journal::open(after.clone(), range.clone()).unwrap();
        two.append(&record(written)).unwrap();
        let mut kept_after_two = Vec::new();
        two.read(0, |number, _| kept_after_two.push(number)).unwrap();
        let changes = after.counts.bytes_changed() - base.counts.bytes_changed();
        let kept_before = numbers(&mut Journal::open(base.clone(), range.clone()).unwrap());
        for cut in 0..changes {
            cuts += 1;
            let first = cut_while_appending(base.clone(), &range, written, cut);
            check(first.clone(), &range, written, (&kept_before, &kept_after));
            // The power may fail again while the journal is mended at the next start.
            let again = cut_while_appending(first, &range, written, cut % 97);
            check(again, &range, written, (&kept_before, &kept_after_two));
        }
        assert_unbroken(&kept_after);
        wrapped |= kept_after.first() != Some(&0);
        base = after;
        written += 1;
    }
    assert!(wrapped && cuts > 2 * (PAGES * PAGE) as u64, "{written} records, {cuts} cuts");
}

/// The device after its power failed `cut` bytes into opening the journal and writing the record
/// (or after the record, if that took fewer).
fn cut_while_appending<const PAGES: usize, const PAGE: usize, const WORD: usize>(
    base: Flash<PAGES, PAGE, WORD>,
    range: &std::ops::Range<u32>,
    number: u32,
    cut: u64,
) -> Flash<PAGES, PAGE, WORD> {
    let mut flash = base.failing_after(cut);
    if let Ok(mut journal) = Journal::open(&mut flash, range.clone()) {
        // Written whole and the power gone just after: then it is not written again.
        let mut present = false;
        journal.read(0, |found, _| present |= found == number).unwrap_or_default();
        if !present {
            let result = journal.append(&record(number));
            assert_eq!(result.is_ok(), flash.has_power());
        }
    }
    flash.powered_again()
}

/// Starts again on `flash` after a cut during the writing of record `written`.
fn check<const PAGES: usize, const PAGE: usize, const WORD: usize>(
    flash: Flash<PAGES, PAGE, WORD>,
    range: &std::ops::Range<u32>,
    written: u32,
    (kept_before, kept_after): (&[u32], &[u32]),
) {
    let mut journal = Journal::open(flash, range.clone()).unwrap();
    let found = numbers(&mut journal);
    assert_unbroken(&found);
    // None invented: what was there before, and perhaps the one that was being written.
    assert!(found.iter().all(|n| kept_before.contains(n) || *n == written), "{found:?}");
    // None lost but those that had to make room.
    for number in kept_after.iter().filter(|&&number| number < written) {
        assert!(found.contains(number), "record {number} was lost: {found:?}");
    }
    // And it goes on.
    let next = found.last().map_or(0, |newest| newest + 1);
    assert_eq!(journal.append(&record(next)), Ok(next));
    assert_eq!(numbers(&mut journal).last(), Some(&next));
}

#[test]
fn a_journal_of_words_of_four_bytes_survives_every_cut() {
    cut_after_every_byte::<3, 1024, 4>();
}

#[test]
fn a_journal_of_single_bytes_survives_every_cut() {
    cut_after_every_byte::<4, 512, 1>();
}

#[test]
fn a_journal_of_words_of_eight_bytes_survives_every_cut() {
    cut_after_every_byte::<2, 2048, 8>();
}

#[test]
fn a_region_that_cannot_work_is_refused() {
    type Device = Flash<4, 1024, 4>;
    for range in [0..1024, 0..1500, 512..2560, 1024..1024] {
        let result = Journal::open(Device::new(), range.clone()).map(|_| ());
        assert_eq!(result, Err(LogError::Region), "{range:?}");
    }
}

/// Stores procedures by turns, and cuts the power at every `step`th byte written or erased on the way, `in_a_row` times:
/// first at the same one, then elsewhere each time. The old one stands until the new one is whole.
fn cut_while_storing<const PAGES: usize, const PAGE: usize, const WORD: usize>(step: usize, in_a_row: u64) {
    let range = 0..Flash::<PAGES, PAGE, WORD>::SIZE as u32;
    let store_of = |flash| ProcedureStore::new(flash, range.clone()).unwrap();
    let (mut base, mut old) = (Flash::<PAGES, PAGE, WORD>::new(), None);
    // The third is written where the first one stands.
    for low in 0..3 {
        let new = sound(&of_voltage(low));
        let mut store = store_of(base.clone());
        store.store(&new).unwrap();
        let after = store.into_flash();
        let changes = after.counts.bytes_changed() - base.counts.bytes_changed();
        let (mut olds, mut news) = (0, 0);
        for cut in (0..changes).step_by(step) {
            let mut flash = base.clone();
            for time in 0..in_a_row {
                let at = if time < in_a_row / 2 { cut } else { (cut + 97 * time) % changes };
                let mut store = store_of(flash.failing_after(at));
                assert_eq!(store.store(&new), Err(LogError::Flash));
                let mut store = store_of(store.into_flash().powered_again());
                let found = store.load(&HardLimits::NONE).unwrap().map(Result::unwrap);
                flash = store.into_flash();
                if found == Some(new.clone()) {
                    news += 1;
                    break;
                }
                assert_eq!(found, old, "cut {time} after {at} bytes");
                olds += 1;
            }
            // The next one can be stored.
            let mut store = store_of(flash);
            store.store(&new).unwrap();
            assert_eq!(store.load(&HardLimits::NONE), Ok(Some(Ok(new.clone()))));
        }
        // What is left out at the end of a block is no part of the entry.
        assert!(olds > 0 && news <= 64 * in_a_row, "{olds} {news}");
        (old, base) = (Some(new), after);
    }
    assert!(base.counts.bytes_erased >= base.counts.bytes_programmed);
}

#[test]
fn a_cut_while_storing_a_procedure_leaves_the_old_or_the_new() {
    cut_while_storing::<2, 4096, 4>(1, 1);
    cut_while_storing::<4, 4096, 8>(1, 1);
    cut_while_storing::<10, 512, 1>(1, 1);
}

/// Before, halves took room as whole ones do, and the old one went with its page.
#[test]
fn many_cuts_in_a_row_leave_the_old_procedure() {
    cut_while_storing::<2, 4096, 4>(29, 20);
    cut_while_storing::<10, 512, 1>(5, 20);
}

#[test]
fn a_range_that_cannot_hold_two_procedures_is_refused() {
    type Device = Flash<4, 1024, 4>;
    for range in [0..1024, 0..1500, 512..2560, 1024..1024, 0..8192] {
        let result = ProcedureStore::new(Device::new(), range.clone()).map(|_| ());
        assert_eq!(result, Err(LogError::Region), "{range:?}");
    }
    // Half of it is too small for this one, which is told as it is stored.
    let mut store = ProcedureStore::new(Flash::<2, 64, 4>::new(), 0..128).unwrap();
    assert_eq!(store.store(&of_voltage(1)), Err(LogError::TooLarge));
    assert_eq!(store.load(&HardLimits::NONE), Ok(None));
}

#[test]
fn a_stored_procedure_is_checked_again() {
    type Device = Flash<2, 4096, 4>;
    let mut store = ProcedureStore::new(Device::new(), 0..Device::SIZE as u32).unwrap();
    assert_eq!(store.load(&HardLimits::NONE), Ok(None));
    store.store(&of_voltage(100)).unwrap();
    let narrower = HardLimits::NONE.with(Quantity::Voltage, Range { low: 101, high: 10_000 });
    let refused = UploadError::BeyondHardLimit(HardLimit::Range(Quantity::Voltage));
    assert_eq!(store.load(&narrower), Ok(Some(Err(refused))));
}
