//! Outside evidence for `trial --suggest`: joints of the second generator, halved at random; settings
//! proposed on one half are held against the other.
//!
//! Decides: which joints, which halves, and what counts as found, missed, false and late.
//! Assumes: of the program only what its help, its JSON and the files it writes tell.
//! Never: takes the program's word: hits and false alarms are counted here, from the alarms of `replay`.

pub mod adversarial;
pub mod bench;
pub mod count;
pub mod library;
pub mod program;
pub mod stops;
pub mod tables;
