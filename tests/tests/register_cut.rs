//! A register whose writers are killed, or whose last writes never reached the disk, opens and lacks nothing that was told.

use bandward_sim::register::{Filter, Register};
use bandward_tests::program;
use bandward_tests::registered::{self, Left};
use bandward_tests::second::random::Chance;
use std::fs;
use std::path::Path;

/// Moments; more by `BANDWARD_REGISTER_KILLS`.
fn kills() -> u32 {
    std::env::var("BANDWARD_REGISTER_KILLS").ok().and_then(|kills| kills.parse().ok()).unwrap_or(20)
}

#[test]
fn nothing_that_was_told_is_lost_when_two_writers_are_killed() {
    let folder = tempfile::tempdir().expect("a folder");
    let writer = program::path().with_file_name(format!("register-report{}", std::env::consts::EXE_SUFFIX));
    let left = registered::kill(&writer, folder.path(), kills(), 7).expect("it opens every time");
    assert_eq!(Left { lost: 0, faults: 0, ..left }, left, "{left:?}");
    assert!(left.told > 20, "the writers wrote: {left:?}");
    // Each writer may be killed between the write and the word of it.
    assert!(left.beyond <= 2 * left.kills as usize, "{left:?}");
}

/// What a power cut leaves of a write-ahead log: a beginning of it, and the rest missing or of other bytes.
#[test]
fn a_torn_log_leaves_whole_joints_only() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("whole.register");
    let mut register = Register::open(&path).expect("a new one");
    let wal = |path: &Path| path.with_extension("register-wal");
    // Where the log ends after each joint: what is told is on the disk up to there.
    let mut ends = Vec::new();
    for number in 0..8 {
        registered::add(&mut register, &format!("S-{number}")).expect("added");
        ends.push(fs::metadata(wal(&path)).expect("a write-ahead log").len());
    }
    let (base, log) = (fs::read(&path).expect("read"), fs::read(wal(&path)).expect("read"));
    let copy = folder.path().join("torn.register");
    let mut chance = Chance::new(3, 32);
    let mut seen = Vec::new();
    for cut in 0..24 {
        let at = chance.between(0.0, log.len() as f64) as usize;
        let mut torn = log[..at].to_vec();
        if cut % 2 == 1 {
            torn.resize(log.len(), 0xA5);
        }
        fs::write(&copy, &base).expect("written");
        fs::write(wal(&copy), &torn).expect("written");
        let _ = fs::remove_file(copy.with_extension("register-shm"));
        let opened = Register::open(&copy).expect("it opens");
        assert_eq!(opened.faults().expect("looked at"), [] as [String; 0], "cut at {at}");
        let found = opened.find(&Filter::default()).expect("found");
        let mut serials: Vec<_> = found.into_iter().filter_map(|joint| joint.serial).collect();
        serials.sort();
        let expected: Vec<_> = (0..serials.len()).map(|number| format!("S-{number}")).collect();
        assert_eq!(serials, expected, "the first ones, without a hole");
        // What was synced before the cut is there.
        assert!(
            serials.len() >= ends.iter().filter(|&&end| end <= at as u64).count(),
            "cut at {at} of {ends:?}"
        );
        seen.push(serials.len());
    }
    seen.sort_unstable();
    seen.dedup();
    assert!(seen.len() > 3, "cuts of all kinds: {seen:?}");
}
