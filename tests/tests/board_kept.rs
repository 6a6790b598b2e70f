//! What a board must never do to what it keeps: give a number twice, lose a record for one refused write, or let a bench
//! test pass for a weld. Each test once failed.

use bandward::BandRecord;
use bandward::flash::journal::Kept;
use bandward::link::{Refusal, Report, Request};
use bandward_tests::host_board::{Bench, Device, Start};
use bandward_tests::host_machine::{ARC, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure};

fn weld(shop: &mut Shop, seconds: u64) {
    shop.run(2, GAS_ON);
    shop.run(seconds, ARC);
    shop.run(20, IDLE);
}

/// Numbers and times of arc, in seconds; those that are told as damaged have none.
fn told(shop: &mut Shop) -> Vec<(u32, Option<u64>)> {
    let mut told: Vec<(u32, Option<u64>)> = Vec::new();
    loop {
        let from = told.last().map_or(0, |(number, _)| number + 1);
        let said = shop.bench.ask(&Request::ReadJournal { from });
        let one = said.iter().find_map(|report| match report {
            Report::Journal { number, record: Kept::Band(band), .. } => {
                Some((*number, Some((band.arc_time_us + 500_000) / 1_000_000)))
            }
            Report::JournalDamaged { number } => Some((*number, None)),
            _ => None,
        });
        match one {
            Some(one) => told.push(one),
            None => return told,
        }
    }
}

/// A board that was started again with the journal damaged by `damage`.
fn again(shop: Shop, damage: impl FnOnce(&mut Device)) -> Shop {
    let (mut journal, procedure) = shop.bench.flashes();
    damage(&mut journal);
    Shop::by(Start { journal, procedure, ..Start::default() })
}

fn three_bands() -> Shop {
    let mut shop = Shop::open();
    for seconds in [6, 7, 8] {
        weld(&mut shop, seconds);
    }
    assert_eq!(told(&mut shop), [(0, Some(6)), (1, Some(7)), (2, Some(8))]);
    shop
}

/// Before, the number of a damaged last entry was given again, and whoever went on from there never saw its record; a
/// damaged one in the middle was passed over without a word.
#[test]
fn a_number_is_given_once_and_a_damaged_record_is_told() {
    let (flash, _) = three_bands().bench.flashes();
    let used = (0..Device::SIZE / 2).rev().find(|&at| flash.byte(at) != 0xff).unwrap() + 1;
    let mut lasts = 0;
    for at in (40..used).step_by(37) {
        let mut shop = again(three_bands(), |journal| journal.damage(at, 1));
        weld(&mut shop, 12);
        let found = told(&mut shop);
        let whole = [(0, Some(6)), (1, Some(7)), (2, Some(8)), (3, Some(12))];
        assert_eq!(found.last(), Some(&whole[3]), "byte {at}: {found:?}");
        for (number, seconds) in &found {
            let expected = whole[*number as usize].1;
            assert!(seconds.is_none() || *seconds == expected, "byte {at}: {found:?}");
        }
        // The very first one was once missing as one that was given up.
        let numbers: Vec<_> = found.iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, [0, 1, 2, 3], "byte {at}: {found:?}");
        lasts += u32::from(found.contains(&(2, None)));
    }
    assert!(lasts > 0, "the last one too");
}

/// Before, numbers began anew.
#[test]
fn a_journal_that_lost_all_goes_on_with_other_numbers() {
    for times in 1..3 {
        let mut shop = three_bands();
        for _ in 0..times {
            let (mut journal, procedure) = shop.bench.flashes();
            (0..Device::SIZE).for_each(|at| journal.fill(at, 170));
            let mut bench = Bench::of(Start { journal, procedure, ..Start::default() });
            bench.poll();
            assert!(bench.board.faults().journal, "it is told");
            let (journal, procedure) = bench.flashes();
            shop = Shop::by(Start { journal, procedure, ..Start::default() });
        }
        weld(&mut shop, 9);
        let found = told(&mut shop);
        assert_eq!(found.len(), 1);
        assert_eq!(found, [(times << 20, Some(9))]);
        let mut shop = again(shop, |_| {});
        weld(&mut shop, 10);
        assert_eq!(told(&mut shop), [(times << 20, Some(9)), ((times << 20) + 1, Some(10))]);
    }
}

/// Before, one refused write lost the record.
#[test]
fn a_record_that_the_flash_refuses_is_kept_and_tried_again() {
    for is_lie in [false, true] {
        let mut shop = Shop::open();
        weld(&mut shop, 6);
        let flash = shop.bench.journal.clone();
        let sign = if is_lie { &flash.is_lying } else { &flash.is_broken };
        sign.set(true);
        let before = flash.changes.get();
        weld(&mut shop, 7);
        assert!(shop.bench.board.faults().journal, "it is told, lie: {is_lie}");
        assert!(flash.changes.get() - before < 20, "it is not tried without end");
        let said = shop.bench.ask(&Request::ReadJournal { from: 1 });
        assert!(said.contains(&Report::Refused(Refusal::Storage)), "that is no end of the journal: {said:?}");
        sign.set(false);
        weld(&mut shop, 8);
        assert_eq!(told(&mut shop), [(0, Some(6)), (1, Some(7)), (2, Some(8))], "lie: {is_lie}");
        shop.acknowledge();
        shop.run(1, IDLE);
        assert!(!shop.bench.board.faults().journal);
        // Whoever reads has it tried again.
        sign.set(true);
        weld(&mut shop, 9);
        sign.set(false);
        assert_eq!(told(&mut shop).last(), Some(&(3, Some(9))));
    }
}

/// A flash that refuses for ever holds up no request, however many records wait.
#[test]
fn a_flash_that_is_dead_holds_up_no_request() {
    let mut shop = Shop::open();
    shop.bench.journal.is_broken.set(true);
    for _ in 0..18 {
        weld(&mut shop, 6);
    }
    assert!(shop.bench.ask(&Request::Acknowledge).contains(&Report::Acknowledged));
    shop.bench.journal.is_broken.set(false);
    weld(&mut shop, 6);
    assert!(told(&mut shop).len() >= 14, "what had room in memory");
}

/// Before, a band that a host played in a bench test stood in the journal as proven.
#[test]
fn a_bench_test_is_no_weld() {
    let mut shop = Shop::open();
    weld(&mut shop, 8);
    // That ends the joint under way.
    shop.bench.ask(&Request::BenchStart(acquisition()));
    let steps = [(2, GAS_ON), (8, ARC), (20, IDLE)]
        .into_iter()
        .flat_map(|(seconds, doing)| std::iter::repeat_n(doing, (seconds * 1_000_000 / PERIOD_US) as usize));
    let mut said = shop.bench.bench_samples((1..).zip(steps).map(|(i, doing)| doing.at(i * PERIOD_US)));
    said.extend(shop.bench.ask(&Request::BenchEnd));
    assert!(
        !said.iter().any(|report| matches!(report, Report::Band { .. } | Report::Joint { .. })),
        "told as a weld"
    );
    let told_bands = said
        .iter()
        .filter(|report| matches!(report, Report::Bench { record: Kept::BenchBand(_), .. }))
        .count();
    assert_eq!(told_bands, 1);
    let of = |band: &BandRecord| band.outcome;
    let bands: Vec<_> = shop
        .journal()
        .iter()
        .filter_map(|record| match record {
            Kept::Band(band) => Some((false, of(band))),
            Kept::BenchBand(band) => Some((true, of(band))),
            _ => None,
        })
        .collect();
    let [(false, welded), (true, played)] = bands[..] else { panic!("{bands:?}") };
    assert_eq!(welded, played, "judged alike, and marked");
    // Nor for the controller of the cell: 4 stands for a bench test.
    assert_eq!(shop.bench.input(2002), 4);
    shop.bench.upload(&procedure());
    shop.bench.ask(&Request::Acknowledge);
    weld(&mut shop, 8);
    assert_eq!(shop.bench.input(2002), welded as u16);
}
