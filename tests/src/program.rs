//! The built program, for checks of the command line.

use std::path::{Path, PathBuf};

/// The program `bandward`, which `cargo test --workspace` and `cargo build` build beside the tests.
///
/// # Panics
/// It is not there: this package was tested alone and nothing was ever built.
pub fn path() -> PathBuf {
    let test = std::env::current_exe().expect("a test is a file");
    // target/PROFILE/deps/TEST
    in_folder(test.parent().and_then(Path::parent).expect("a test lies two folders deep"))
}

/// The same for a program of this package, which lies beside it.
///
/// # Panics
/// As [`path`].
pub fn beside() -> PathBuf {
    let own = std::env::current_exe().expect("a program is a file");
    in_folder(own.parent().expect("a file lies in a folder"))
}

fn in_folder(folder: &Path) -> PathBuf {
    let program = folder.join(format!("bandward{}", std::env::consts::EXE_SUFFIX));
    assert!(program.exists(), "{} is not built: run `cargo build` first", program.display());
    program
}
