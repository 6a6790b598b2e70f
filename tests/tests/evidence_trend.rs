//! `trend` shown shops that share nothing with the program's own process: a short sample of `trend-report`.
//!
//! Decides: that what the records tell is no drift, and that a leak is told.
//! Assumes: figures of the shops are invented; the sample is too small to bound how often steady shops drift.

use bandward_tests::program;
use bandward_tests::second::shops::calendar::written;
use bandward_tests::second::shops::conditions::Signed;
use bandward_tests::second::shops::steady::Shop;
use bandward_tests::second::shops::wrong::Wrong;
use bandward_tests::second::shops::{measured, records, tables, traces, verdict};
use bandward_tests::second::thresholds::bench::Start;
use bandward_tests::second::thresholds::program::Program;
use serde_json::Value;
use std::path::Path;
use tempfile::TempDir;

fn pattern(program: &Program, folder: &Path) -> Value {
    let procedure = Start::Shop.write(folder).expect("written");
    traces::pattern(program, &procedure, folder).expect("replayed")
}

#[test]
fn days_are_written_as_records_write_them() {
    assert_eq!(written(0.25), "2026-01-01T06:00:00");
    assert_eq!(written(58.0), "2026-02-28T00:00:00");
    assert_eq!(written(59.5), "2026-03-01T12:00:00");
    assert_eq!(written(365.0), "2027-01-01T00:00:00");
}

#[test]
fn a_shop_is_as_it_was_ordered() {
    let shop = Shop::drawn(90_000);
    assert!((60..=80).contains(&shop.joints.len()));
    assert!(shop.joints.is_sorted_by(|one, next| one.day <= next.day));
    let (shop, machine, from) = Wrong::TipWear.shop(90_001);
    let own: Vec<_> = shop.joints.iter().filter(|joint| joint.machine == machine).collect();
    assert!((own[from - 2].upset.worn_mm).abs() < 1e-9);
    assert!((own[from + 8].upset.worn_mm - 1.2).abs() < 1e-9, "0.12 mm a joint");
    assert!(own[from..].iter().all(|joint| joint.tip == own[from - 2].tip), "no new tip mends it");
    let (shop, ..) = Wrong::GasSevenFlagged.shop(90_002);
    let flagged = shop.joints.iter().filter(|joint| joint.signed == Signed::Broken).count();
    assert_eq!(flagged, 7);
}

#[test]
fn a_known_change_is_no_drift_and_a_leak_is_told() {
    let folder = TempDir::new().expect("a folder");
    let program = Program(program::path());
    let pattern = pattern(&program, folder.path());
    for wrong in [Wrong::SpoolTold, Wrong::GasStep] {
        let (shop, machine, from) = wrong.shop(91_000);
        let said =
            verdict::verdict(&program, &records::of_shop(&pattern, &shop), folder.path(), wrong.name());
        let found = measured::found(wrong, &shop, machine, from, said.expect("told"));
        if wrong == Wrong::GasStep {
            assert!(found.after_joints.is_some_and(|after| after <= 8), "{found:?}");
            assert!(found.verdict.drifting.iter().any(|quantity| quantity == "gas_lpm"), "{found:?}");
        } else {
            assert!(!found.verdict.drifting.iter().any(|quantity| quantity == "current_a"), "{found:?}");
        }
    }
}

#[test]
fn records_are_at_the_level_of_replayed_traces() {
    let folder = TempDir::new().expect("a folder");
    let program = Program(program::path());
    let pattern = pattern(&program, folder.path());
    let mut shop = Shop::drawn(92_000);
    shop.joints.truncate(6);
    let procedure = Start::Shop.write(folder.path()).expect("written");
    let traced = traces::records(&program, &shop, &procedure, folder.path()).expect("replayed");
    let made = records::of_shop(&pattern, &shop);
    for (pointer, within) in [("/current_a/mean", 0.015), ("/voltage_v/mean", 0.01), ("/gas_lpm/mean", 0.02)]
    {
        let ((mean, _), (trace_mean, _)) = (tables::level(&made, pointer), tables::level(&traced, pointer));
        assert!((mean / trace_mean - 1.0).abs() < within, "{pointer}: {mean} {trace_mean}");
    }
}
