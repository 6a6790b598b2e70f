//! Journal and procedure in a flash that is damaged, cut from its power, or holds anything at all.
//!
//! Decides: that opening never fails because of what is in the flash; that what is read was written, under the number
//! that it was given, and oldest first; that without damage the newest is not lost, whenever the power failed, as long as
//! no cuts in a row fill a page with halves of records; that a procedure is loaded only as it was stored, and stands
//! until the next one is whole, however often the power fails; that what is written next can be read.
//! Assumes: damage changes bits; nobody forges a checksum.
//! Never: looks at the layout of a page.

use crate::bytes::Bytes;
use crate::flash::Flash;
use bandward::flash::journal::{Found, Journal, Kept, Stamped};
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::record::stamp::{Serial, Stamp};
use bandward::{BandRecord, JointRecord, Procedure};
use embedded_storage::nor_flash::NorFlash;
use std::ops::Range;

/// Small pages for records, so that few fill them; large ones for procedures.
type Device = Flash<2, 1280, 4>;
const RANGE: Range<u32> = 0..Device::SIZE as u32;
type Large = Flash<2, 4096, 4>;
const LARGE: Range<u32> = 0..Large::SIZE as u32;
/// So many halves of records in a row fill no page.
const FEW: u32 = 2;
/// Acts of one run at most.
const MOST: u32 = 40;

fn record(number: u32, kind: u8) -> Stamped {
    // The number makes every record different; what it holds does not matter to a journal.
    let mut band = BandRecord::empty();
    (band.start_us, band.band) = (number.into(), kind.into());
    let record = match kind % 3 {
        0 => Kept::Joint(JointRecord { start_us: number.into(), ..JointRecord::default() }),
        1 => Kept::Band(band),
        _ => {
            (band.end_us, band.arc_time_us) = (u64::MAX, u64::MAX);
            Kept::Band(band)
        }
    };
    let stamp =
        Stamp { began_utc_s: kind.is_multiple_of(2).then_some(number), serial: Serial::new(&[b'7'; 24]) };
    Stamped { record, stamp }
}

/// What was appended, and what is known of it.
#[derive(Default)]
struct Written {
    /// Whether the flash said that it is there.
    records: Vec<(u32, Stamped, bool)>,
    is_damaged: bool,
    /// Appends in a row that were cut off.
    halves: u32,
}

impl Written {
    fn check(&self, journal: &mut Journal<&mut Device>) {
        let mut read = Vec::new();
        journal.read(0, |number, record| read.push((number, *record))).expect("whatever is in the flash");
        let is_in_order = read.is_sorted_by(|(one, _), (next, _)| one < next);
        assert!(is_in_order || self.is_damaged, "not in order");
        for (number, record) in &read {
            let is_known = self.records.iter().any(|(own, kept, _)| own == number && kept == record);
            assert!(is_known, "record {number} was never written");
        }
        if self.is_damaged || self.halves > FEW {
            return;
        }
        // The newest that is told to be there is there.
        if let Some((number, record, _)) = self.records.iter().rfind(|(_, _, is_told)| *is_told) {
            assert!(read.contains(&(*number, *record)), "record {number} is lost");
            let first = read.first().map_or(0, |(number, _)| *number);
            let told = self.records.iter().filter(|(number, _, is_told)| *is_told && *number >= first);
            assert!(
                told.clone().all(|(number, kept, _)| read.contains(&(*number, *kept))),
                "one in between is lost"
            );
        }
    }
}

/// As the board has it: what is beyond repair is given up, and no number is given again. False where the power fails.
fn go_on<F: NorFlash>(journal: &mut Journal<F>, next: u32) -> bool {
    journal.go_on_from(next);
    !journal.is_damaged() || journal.begin_anew().is_ok()
}

fn records(bytes: &mut Bytes<'_>) {
    let mut device = Device::new();
    let mut written = Written::default();
    let (mut power, mut acts) = (None, 0);
    for _ in 0..6 {
        if let Some(left) = power.take() {
            device = device.failing_after(left);
        }
        let mut journal = match Journal::open(&mut device, RANGE) {
            Ok(journal) => journal,
            Err(error) => {
                // What a cut left half done is done then, which takes power.
                assert!(!device.has_power(), "{error}; damaged: {}", written.is_damaged);
                device = device.powered_again();
                continue;
            }
        };
        assert!(!journal.is_damaged() || written.is_damaged || written.halves > FEW, "beyond repair");
        if !go_on(&mut journal, written.records.iter().map(|(number, ..)| number + 1).max().unwrap_or(0)) {
            device = device.powered_again();
            continue;
        }
        written.check(&mut journal);
        let mut has_power = true;
        while !bytes.is_empty() && has_power && acts < MOST {
            acts += 1;
            let act = bytes.byte();
            if act >= 250 {
                break;
            }
            let at = written.records.len() as u32;
            let record = record(at, act);
            if let Ok(number) = journal.append(&record) {
                written.records.push((number, record, true));
                written.halves = 0;
                if act & 64 != 0 {
                    written.check(&mut journal);
                    let first = journal.first_from(number).expect("it can be read");
                    assert_eq!(first, Some(Found::Record(number, record)), "what was written is not there");
                }
            } else {
                // It may have come so far: under the number that was next, which one before it may have taken.
                let after = |is_told: bool| {
                    let records = written.records.iter().filter(|(_, _, told)| *told || !is_told);
                    records.map(|(number, ..)| number + 1).max().unwrap_or(0)
                };
                let (least, most) = (after(true), after(false));
                written.records.extend((least..=most).map(|number| (number, record, false)));
                written.halves += 1;
                has_power = false;
            }
        }
        device = device.powered_again();
        match bytes.byte() % 4 {
            0 => {
                for _ in 0..bytes.byte() % 8 {
                    let (at, mask) = (bytes.word() as usize % Device::SIZE, bytes.byte());
                    device.damage(at, mask);
                    written.is_damaged = true;
                }
            }
            _ => power = Some(u64::from(bytes.word() % 4_000)),
        }
        if bytes.is_empty() {
            break;
        }
    }
}

/// A flash that holds anything, told as runs of bytes here and there.
fn anything<const PAGE: usize>(bytes: &mut Bytes<'_>) -> Flash<2, PAGE, 4> {
    let mut device = Flash::new();
    while !bytes.is_empty() {
        let at = bytes.word() as usize;
        let length = bytes.byte();
        let repeat = usize::from(bytes.byte()) + 1;
        let run = bytes.run(length.into());
        for (offset, byte) in run.iter().cycle().take(run.len() * repeat).enumerate() {
            device.damage((at + offset) % (2 * PAGE), !byte);
        }
    }
    device
}

fn any_journal(bytes: &mut Bytes<'_>) {
    let opened = |device: Device| {
        Journal::open(device, RANGE).unwrap_or_else(|error| panic!("it does not open: {error}"))
    };
    let mut journal = opened(anything(bytes));
    assert!(go_on(&mut journal, 0));
    journal
        .read(0, |number, record| panic!("{number}, which nobody wrote: {record:?}"))
        .expect("it can be read");
    let record = record(7, 1);
    if let Ok(number) = journal.append(&record) {
        let found = opened(journal.into_flash()).first_from(number);
        assert_eq!(found, Ok(Some(Found::Record(number, record))));
    }
}

fn any_store(bytes: &mut Bytes<'_>) {
    let store = |device: Large| ProcedureStore::new(device, LARGE).expect("the range is right");
    let mut before = store(anything(bytes));
    let found = before.load(&HardLimits::NONE).expect("it can be read");
    assert!(!matches!(found, Some(Ok(_))), "a procedure that nobody stored");
    before.store(&Procedure::new()).expect("whatever stood there");
    let found = store(before.into_flash()).load(&HardLimits::NONE).expect("it can be read");
    assert_eq!(found.map(|found| found.map(|sound| (*sound).clone())), Some(Ok(Procedure::new())));
}

fn procedures(bytes: &mut Bytes<'_>) {
    let with = |number: u8| {
        let mut procedure = Procedure::new();
        procedure.joint.bands = number.into();
        procedure
    };
    let (mut device, mut current, mut begun) = (Large::new(), None::<u8>, None::<u8>);
    let mut is_damaged = false;
    for _ in 0..MOST {
        if bytes.is_empty() {
            break;
        }
        let mut store = ProcedureStore::new(device, LARGE).expect("the range is right");
        let found = store.load(&HardLimits::NONE).expect("it can be read");
        match found.map(|found| found.map(|sound| sound.joint.bands as u8)) {
            Some(Ok(bands)) if begun == Some(bands) => current = begun,
            Some(Ok(bands)) => assert!(current == Some(bands) || is_damaged, "{bands}, not {current:?}"),
            Some(Err(_)) => assert!(is_damaged, "a sound procedure is refused"),
            None => {
                assert!(current.is_none() || is_damaged, "the procedure is gone");
                current = None;
            }
        }
        begun = None;
        let number = bytes.byte();
        device = store.into_flash().failing_after(u64::from(bytes.word() % 8192));
        let mut store = ProcedureStore::new(device, LARGE).expect("the range is right");
        if store.store(&with(number)).is_ok() {
            current = Some(number);
        } else {
            begun = Some(number);
        }
        device = store.into_flash().powered_again();
        if bytes.byte().is_multiple_of(8) {
            device.damage(bytes.word() as usize % Large::SIZE, bytes.byte());
            is_damaged = true;
        }
    }
}

/// What is kept, then what happens to it.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    match bytes.byte() % 4 {
        0 => records(bytes),
        1 => any_journal(bytes),
        2 => any_store(bytes),
        _ => procedures(bytes),
    }
}
