//! What to do next when something could not be done.
//!
//! Decides: the advice below an error.
//! Assumes: the error itself says what went wrong, and where.
//! Never: repeats it.

use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::{NO_SUCH_FILE, named};
use std::io::{Error, ErrorKind};

/// What to do next, where that is known.
pub fn next_step(error: &anyhow::Error) -> Option<String> {
    if let Some(errors) = error.downcast_ref::<InputErrors>() {
        return in_files(errors.faults());
    }
    #[cfg(feature = "register")]
    if let Some(error) = error.downcast_ref::<crate::register::RegisterError>() {
        return error.next_step().map(str::to_owned);
    }
    let io = error.chain().find_map(|cause| cause.downcast_ref::<Error>())?;
    match io.kind() {
        ErrorKind::NotFound => check_the_name(),
        ErrorKind::PermissionDenied => {
            Some("check whose file it is, and what may be done with it".to_owned())
        }
        ErrorKind::InvalidData => {
            Some("check that it is the right file, and that it is plain UTF-8 text".to_owned())
        }
        ErrorKind::IsADirectory => Some("name a file in that folder".to_owned()),
        ErrorKind::StorageFull => Some("make room on the disk, or write elsewhere".to_owned()),
        _ => None,
    }
}

fn in_files(faults: &[InputError]) -> Option<String> {
    if faults.iter().any(|fault| fault.problem.ends_with(NO_SUCH_FILE)) {
        return check_the_name();
    }
    if faults.iter().all(|fault| fault.line > 0) {
        return Some("correct the file at the places marked, then run the same command again".to_owned());
    }
    None
}

fn check_the_name() -> Option<String> {
    let here = std::env::current_dir().ok()?;
    Some(format!("check the name; names are looked up from {}", named(&here)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use anyhow::Context as _;

    #[test]
    fn the_cause_decides_however_deep_it_is() {
        let error = |kind: ErrorKind| anyhow::Error::from(Error::from(kind)).context("cannot read x.toml");
        assert!(
            next_step(&error(ErrorKind::NotFound)).is_some_and(|step| step.starts_with("check the name"))
        );
        assert!(next_step(&error(ErrorKind::PermissionDenied)).is_some());
        assert_eq!(next_step(&error(ErrorKind::Interrupted)), None);
        assert_eq!(next_step(&anyhow::anyhow!("nothing known")), None);
        let missing = crate::trace::open(std::path::Path::new("no-such-file.csv"), None);
        let missing = anyhow::Error::from(missing.map(|_| ()).expect_err("there is none"));
        assert!(next_step(&missing).is_some_and(|step| step.starts_with("check the name")));
        let faults = crate::preferences::Preferences::parse("x.toml", "a = 1\n").context("unused");
        assert!(
            next_step(&faults.expect_err("an unknown key"))
                .is_some_and(|step| step.contains("places marked"))
        );
    }
}
