//! What a user of the crate can name: listed whole, so that no change of it goes unseen.
//!
//! Decides: which foreign types may stand in it: those of a crate at 1 or later, and the trait of the embedded
//! world for flash, for which there is no such crate.
//! Assumes: `cargo` is that of the build; it writes what it would document as JSON, in a form that changes from
//! toolchain to toolchain.
//! Never: passes silently where that form is unknown: an error under `CI=true`, else a skip that says its name.

use bandward_tests::emulator::{Missing, skip};
use std::fmt::Write as _;
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

/// The listing, without what is derived.
fn listing() -> Result<String, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    // Only rustdoc itself may use what is not stable: build scripts that see so would have all built anew.
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let rustdoc = folder.path().join("rustdoc");
    std::fs::write(&rustdoc, "#!/bin/sh\nRUSTC_BOOTSTRAP=1 exec rustdoc \"$@\"\n")
        .and_then(|()| std::fs::set_permissions(&rustdoc, Permissions::from_mode(0o755)))
        .map_err(|error| error.to_string())?;
    let status = Command::new(env!("CARGO"))
        .current_dir(&root)
        .env("RUSTDOC", &rustdoc)
        .args(["rustdoc", "--quiet", "-p", "bandward", "--lib", "--"])
        .args(["-Z", "unstable-options", "--output-format", "json", "--cap-lints", "allow"])
        .status()
        .map_err(|error| format!("cargo rustdoc: {error}"))?;
    if !status.success() {
        return Err(format!("cargo rustdoc: {status}"));
    }
    let interface = public_api::Builder::from_rustdoc_json(
        Path::new(env!("CARGO_TARGET_TMPDIR")).join("../doc/bandward.json"),
    )
    .omit_blanket_impls(true)
    .omit_auto_trait_impls(true)
    .omit_auto_derived_impls(true)
    .build()
    .map_err(|error| format!("rustdoc's JSON: {error}"))?;
    let mut listing = String::new();
    for item in interface.items() {
        writeln!(listing, "{item}").map_err(|error| error.to_string())?;
    }
    Ok(listing)
}

#[test]
fn the_public_interface_is_the_one_that_is_listed() {
    let listing = match listing() {
        Ok(listing) => listing,
        Err(problem) => {
            return skip("the_public_interface_is_the_one_that_is_listed", &Missing(problem));
        }
    };
    let foreign =
        ["heapless::", "cobs::", "postcard::", "sequential_storage::", "crc::", "embedded_storage_async::"];
    for line in listing.lines() {
        assert!(!foreign.iter().any(|name| line.contains(name)), "a foreign type of a 0.x crate: {line}");
    }
    insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!("public_interface__core", listing);
    });
}
