//! A proposed layout, with its doubts.
//!
//! Never: tells a doubt on the screen that does not stand in the file too.

use super::write;
use bandward::Channel;

/// A proposed layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The text of the layout file, with comments.
    pub text: String,
    /// What is left out, and what a person should check.
    pub warnings: Vec<String>,
    /// Columns in the unit of a channel that are not called so: what they read tells whether they could be it.
    pub beside: Vec<Beside>,
}

impl Proposal {
    /// Takes a channel out again, with the reason on the screen and above its line of the file.
    pub fn leave_out(&mut self, channel: Channel, reason: String) {
        let line = format!("{} = {{", channel.name());
        if let Some(at) = self.text.find(&format!("\n{line}")) {
            self.text.insert_str(at + 1, &format!("# {}\n# ", write::comment(&reason)));
        }
        self.warnings.push(reason);
    }
    /// Adds what a person should check of a channel, on the screen and above its line of the file.
    pub fn doubt(&mut self, channel: Channel, doubt: String) {
        let line = format!("{} = {{", channel.name());
        if let Some(at) = self.text.find(&format!("\n{line}")) {
            self.text.insert_str(at + 1, &format!("# check: {}\n", write::comment(&doubt)));
        }
        self.warnings.push(doubt);
    }
}

/// A column that could be the reading of a channel, by its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Beside {
    /// The channel.
    pub channel: Channel,
    /// The column that is called so, and this one, for people.
    pub(super) own: String,
    pub(super) other: String,
    pub(super) column: usize,
    /// What a layout would say of it.
    pub line: String,
}
