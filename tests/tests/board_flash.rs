//! What is in the flash is what was written, or nothing: no damage and no older form is taken for a record or a
//! procedure. Below is a checksum of the store; what is tested here is the entry itself, as a store without one, or
//! a firmware with another form, would hand it over.

use bandward::flash::journal::{FORM, Found, Journal, Kept, Stamped};
use bandward::flash::log::{Log, LogError};
use bandward::flash::procedure_store::{self, ProcedureStore};
use bandward::link::frame::crc;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::UploadError;
use bandward::record::stamp::{Serial, Stamp};
use bandward::{BandRecord, JointRecord, Rule};
use bandward_tests::flash::Flash;
use bandward_tests::host_machine::procedure;

type Device = Flash<2, 4096, 4>;
const RANGE: core::ops::Range<u32> = 0..Device::SIZE as u32;

fn records() -> [Stamped; 2] {
    let mut band = BandRecord { band: 3, start_us: 77_000_000, end_us: 99_000_000, ..BandRecord::default() };
    band.outside_us.set(Rule::GasLow, 123_456);
    let stamp = Stamp { began_utc_s: Some(1_795_816_000), serial: Serial::new(b"TJ 0417") };
    let joint = JointRecord { joint: 9, bands: 3, ..JointRecord::default() };
    [Stamped { record: Kept::Band(band), stamp }, Kept::Joint(joint).into()]
}

/// With a CRC-32 behind it.
fn sealed(body: Vec<u8>) -> Vec<u8> {
    let sum = crc(&body).to_le_bytes();
    [body, sum.to_vec()].concat()
}

/// An entry as the journal writes it.
fn entry(record: &Stamped) -> Vec<u8> {
    sealed(postcard::to_allocvec(&(FORM, 41_u32, Some(record))).unwrap())
}

/// Records in a journal with these entries.
fn read(entries: &[Vec<u8>]) -> Vec<(u32, Stamped)> {
    let mut device: Flash<2, 65_536, 4> = Flash::new();
    let range = 0..131_072;
    let mut log = Log::new(&mut device, range.clone()).unwrap();
    for entry in entries {
        log.append(entry).unwrap();
    }
    let mut found = Vec::new();
    let mut journal = Journal::open(device, range).unwrap();
    journal.read(0, |number, record| found.push((number, *record))).unwrap();
    found
}

/// A.7: before, 54 of 117 damages of one byte gave another valid record.
#[test]
fn no_damage_of_one_byte_gives_another_record() {
    for record in records() {
        let whole = entry(&record);
        assert_eq!(read(std::slice::from_ref(&whole)), [(41, record)]);
        for at in 0..whole.len() {
            let damaged = (1..=255_u8).map(|mask| {
                let mut entry = whole.clone();
                entry[at] ^= mask;
                entry
            });
            assert_eq!(read(&damaged.collect::<Vec<_>>()), [], "byte {at}");
        }
    }
}

/// A.7: whole entries of an older form, of one that is to come, and of the first boards, which had neither a form
/// nor a checksum.
#[test]
fn an_entry_of_another_form_is_passed_over() {
    for record in records() {
        let other = |form: u8| sealed(postcard::to_allocvec(&(form, 41_u32, Some(record))).unwrap());
        let bare = postcard::to_allocvec(&(41_u32, record)).unwrap();
        let shorter = sealed(postcard::to_allocvec(&(FORM, 41_u32)).unwrap());
        assert_eq!(read(&[other(FORM - 1), other(FORM + 1), bare, shorter, entry(&record)]), [(41, record)]);
    }
}

/// A.7: bits that change in the flash itself.
#[test]
fn no_bit_that_falls_over_in_the_flash_gives_another_record() {
    let mut journal = Journal::open(Device::new(), RANGE).unwrap();
    for record in records() {
        assert!(journal.append(&record).is_ok());
    }
    let whole = journal.into_flash();
    let used = 600;
    let mut lost = 0;
    for at in 0..used {
        for bit in 0..8 {
            let mut device = whole.clone();
            device.damage(at, 1 << bit);
            let mut found = Vec::new();
            let Ok(mut journal) = Journal::open(device, RANGE) else { continue };
            if journal.read(0, |number, record| found.push((number, *record))).is_ok() {
                let written = [(0, records()[0]), (1, records()[1])];
                assert!(found.iter().all(|one| written.contains(one)), "bit {bit} of byte {at}");
                lost += usize::from(found.len() < written.len());
            }
        }
    }
    assert!(lost > 500, "{lost}: the damage is real");
}

/// A.7 for the procedure: it was stored without a form and without a checksum of its own.
#[test]
fn no_damage_and_no_other_form_gives_another_procedure() {
    let load = |entry: &[u8]| {
        let mut device = Device::new();
        for (at, byte) in entry.iter().enumerate() {
            device.fill(at, *byte);
        }
        ProcedureStore::new(device, RANGE).unwrap().load(&HardLimits::NONE).expect("whatever is in it")
    };
    let of_form = |form: u8| {
        let body = postcard::to_allocvec(&(form, 0_u32, 0_u32, Some(procedure()))).unwrap();
        let length = (4 + body.len() + 4) as u32;
        sealed([length.to_le_bytes().to_vec(), body].concat())
    };
    let whole = of_form(procedure_store::FORM);
    assert_eq!(load(&whole).unwrap().as_deref().ok(), Some(&procedure()));
    for at in 0..whole.len() {
        for mask in (0..8).map(|bit| 1 << bit).chain([0xff]) {
            let mut entry = whole.clone();
            entry[at] ^= mask;
            assert_eq!(load(&entry), None, "byte {at}, bits {mask:#x}");
        }
    }
    for other in [procedure_store::FORM + 1, procedure_store::FORM - 1] {
        assert_eq!(load(&of_form(other)), Some(Err(UploadError::Malformed)));
    }
    assert_eq!(load(&postcard::to_allocvec(&procedure()).unwrap()), None, "as the first boards stored it");
    let mut log = Log::new(Device::new(), RANGE).unwrap();
    log.append(&sealed(postcard::to_allocvec(&(procedure_store::FORM, 0_u32, Some(procedure()))).unwrap()))
        .unwrap();
    let mut store = ProcedureStore::new(log.into_flash(), RANGE).unwrap();
    assert_eq!(store.load(&HardLimits::NONE), Ok(None), "as boards stored it in a log");
}

/// Found by any bytes: a flash that says of an entry that it is longer than any was an error, not an empty one.
#[test]
fn a_length_that_no_entry_has_is_no_entry() {
    for length in [0_u32, 3, 7, 8, 2047, 2048, 4096, 65_535, u32::MAX >> 1, u32::MAX] {
        let mut device = Device::new();
        for place in [0, 4096] {
            for (at, byte) in length.to_le_bytes().into_iter().enumerate() {
                device.fill(place + at, byte);
            }
        }
        let mut store = ProcedureStore::new(device, RANGE).unwrap();
        assert_eq!(store.load(&HardLimits::NONE), Ok(None), "{length}");
        assert_eq!(store.store(&procedure()), Ok(()));
        assert!(matches!(store.load(&HardLimits::NONE), Ok(Some(Ok(_)))), "{length}");
    }
}

/// The number from which the journal goes on is kept with whatever is stored next.
#[test]
fn the_numbers_of_the_journal_outlive_procedures() {
    let mut device = Device::new();
    for from in [7, 3, 9] {
        let mut store = ProcedureStore::new(device, RANGE).unwrap();
        let _ = store.load(&HardLimits::NONE).unwrap();
        store.store_numbers(from, None).unwrap();
        store.store(&procedure()).unwrap();
        device = store.into_flash();
    }
    let mut store = ProcedureStore::new(device, RANGE).unwrap();
    assert!(matches!(store.load(&HardLimits::NONE), Ok(Some(Ok(_)))));
    assert_eq!(store.numbers_from(), 9);
}

/// A.6: a journal beyond repair is emptied once somebody knows.
#[test]
fn a_journal_beyond_repair_says_so_before_it_is_emptied() {
    let mut emptied = 0;
    for mask in [0xff_u8, 0x0f, 0xaa] {
        let mut device = Device::new();
        for at in 0..Device::SIZE {
            device.damage(at, mask);
        }
        let Ok(mut journal) = Journal::open(device, RANGE) else { continue };
        if journal.is_damaged() {
            assert_eq!(journal.append(&records()[0]), Err(LogError::Damaged), "nothing is erased unasked");
            assert_eq!(journal.begin_anew(), Ok(()));
            emptied += 1;
        }
        assert!(journal.append(&records()[0]).is_ok(), "it goes on");
        assert!(!journal.is_damaged());
    }
    assert!(emptied > 0);
}

/// The oldest record that was damaged was once passed over like one that was given up for newer data; and one that was
/// given up, whose seal stands on the next page, is none that was damaged.
#[test]
fn the_oldest_record_is_told_as_damaged_where_it_was_and_nowhere_else() {
    let mut journal = Journal::open(Device::new(), RANGE).unwrap();
    let mut oldest = Vec::new();
    for number in 0..120 {
        assert_eq!(journal.append(&records()[number % 2]), Ok(number as u32));
        let Ok(Some(Found::Record(first, _))) = journal.first_from(0) else { panic!("after {number}") };
        oldest.push(first);
    }
    assert!(oldest.is_sorted() && oldest.last() > Some(&20), "{oldest:?}");
    for count in 1..4 {
        let mut journal = Journal::open(Device::new(), RANGE).unwrap();
        for number in 0..count {
            assert_eq!(journal.append(&records()[0]), Ok(number));
        }
        let whole = journal.into_flash();
        // Behind the mark of the page: its header, and what it holds.
        for at in 4..100 {
            let mut device = whole.clone();
            device.damage(at, 1);
            let mut journal = Journal::open(device, RANGE).unwrap();
            assert_eq!(journal.first_from(0), Ok(Some(Found::Damaged(0))), "{count} bands, byte {at}");
            let next = journal.first_from(1).unwrap();
            assert!(
                matches!((count, next), (1, None) | (_, Some(Found::Record(1, _)))),
                "byte {at}: {next:?}"
            );
        }
    }
}
