//! A small made shop from its logs to the machine that drifts, and many logs of which some are broken: a sample of
//! `shop-report`.
//!
//! Decides: what must be found: the machine that was made to drift, and no other.
//! Assumes: the shop of `bandward_tests::shop`, invented; what is found is self-consistency with the process model.

use bandward_tests::{many_links, program, shop};
use std::collections::BTreeSet;

const JOINTS: u32 = 60;

#[test]
fn the_machine_that_drifts_is_named_and_no_other() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = shop::run(&program::path(), folder.path(), JOINTS).expect("all of it runs");
    assert_eq!(told.joints, JOINTS as usize);
    assert_eq!(told.drifting, BTreeSet::from([shop::DRIFTING.to_owned()]), "{}", told.table());
    assert!(told.summary.starts_with(&format!("{JOINTS} logs; {JOINTS} joints\n")), "{}", told.summary);
    let wanted = shop::serial(JOINTS / 2);
    assert_eq!(told.found, std::slice::from_ref(&wanted));
    assert!(told.page.contains(&format!("<title>{wanted}")), "{}", &told.page[..500]);
    let many = folder.path().join("many");
    many_links::fill(&folder.path().join("logs"), &many, 40, 5).expect("links");
    let cost =
        many_links::replay(&program::path(), &folder.path().join("p.toml"), &many, 2).expect("it runs");
    assert_eq!((cost.read, cost.failed), (35, 5));
}
