//! Everything that reads text files written by people.
//!
//! Decides: what a procedure or a layout file means, and how a fault in one is told.
//! Assumes: files are UTF-8 text.
//! Never: judges a weld; that is the core's work.

pub mod bounds;
mod core_procedure;
pub mod diagnostic;
pub mod document;
mod document_pairs;
pub mod gas_mixture;
pub mod hash;
pub mod inspection_limits;
pub mod joint_field;
pub mod joint_file;
pub mod json_object;
pub mod layout;
mod layout_channel;
mod layout_file;
pub mod material;
pub mod parts;
pub mod place;
pub mod procedure_file;
pub mod quantity;
pub mod setting;
pub mod source;
pub mod survey;
pub mod text_file;
pub mod unit;
pub mod written;
pub mod written_quantity;
