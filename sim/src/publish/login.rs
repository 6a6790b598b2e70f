//! User and password for a broker: out of the environment or a file.
//!
//! Decides: where they are looked for.
//! Never: shows a password: it has no `Debug`, and no message has a line of the file.

use crate::input::text_file;
use crate::output::named;
use anyhow::{Context as _, bail};
use std::path::Path;

/// Where they are written, in words.
pub const WHERE: &str =
    "set BANDWARD_PUBLISH_USER and BANDWARD_PUBLISH_PASSWORD, or name a file with --publish-login";
/// Longest of each that MQTT can say, bytes.
const LONGEST: usize = 65_535;

/// A user and a password.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// The user.
    pub user: String,
    /// The password, empty where there is none.
    pub password: String,
}

impl Login {
    /// Out of this file, two lines; without one out of the environment; none where there is none.
    ///
    /// # Errors
    /// The file cannot be read or has other than two lines, or the environment has a password without a user.
    pub fn find(file: Option<&Path>) -> anyhow::Result<Option<Self>> {
        if let Some(path) = file {
            let text = text_file::read(path).with_context(|| format!("cannot read {}", named(path)))?;
            let Some(login) = Self::read(&text) else {
                bail!("{}: expected the user in line 1 and the password in line 2, and no more", named(path));
            };
            return Ok(Some(login));
        }
        let told = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
        match (told("BANDWARD_PUBLISH_USER"), told("BANDWARD_PUBLISH_PASSWORD")) {
            (None, None) => Ok(None),
            (None, Some(_)) => {
                bail!(
                    "BANDWARD_PUBLISH_PASSWORD is set and BANDWARD_PUBLISH_USER is not: set both, or neither"
                )
            }
            (Some(user), password) => Ok(Some(Self { user, password: password.unwrap_or_default() })),
        }
    }
    fn read(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        let (user, password) = (lines.next()?, lines.next()?);
        let is_all = lines.next().is_none();
        let is_sound = !user.is_empty() && user.len() <= LONGEST && password.len() <= LONGEST;
        (is_all && is_sound).then(|| Self { user: user.to_owned(), password: password.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_has_two_lines_and_its_faults_do_not_tell_them() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("login.txt");
        let found = |text: &str| {
            std::fs::write(&path, text).expect("written");
            Login::find(Some(&path))
        };
        for text in ["shop\nsecret\n", "shop\r\nsecret", "shop\nsecret"] {
            let login = found(text).expect("read").expect("there");
            assert!(login.user == "shop" && login.password == "secret", "{text:?}");
        }
        for text in ["", "secret", "\nsecret\n", "shop\nsecret\nsecret\n"] {
            let told = format!("{:#}", found(text).err().expect("refused"));
            assert!(told.contains("login.txt") && !told.contains("secret"), "{told}");
        }
    }
}
