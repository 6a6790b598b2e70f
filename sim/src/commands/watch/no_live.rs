//! In the place of the live page, in a program that was built without it.
//!
//! Decides: nothing.
//! Never: serves anything.

use crate::input::procedure_file::ProcedureFile;
use crate::watch::keeper::{LinkKeeper, LinkNews};
use crate::watch::player::Player;
use crate::watch::view::View;
use bandward::ActiveAlarm;
use clap::Args;
use std::time::Instant;

/// No options.
#[derive(Args)]
pub struct LiveArguments {}

// The other one has something to do in each of these.
#[allow(clippy::unused_self)]
impl LiveArguments {
    pub(super) const fn is_any(&self) -> bool {
        false
    }
}

pub(super) struct LivePage;

#[allow(clippy::unused_self, clippy::unnecessary_wraps, clippy::needless_pass_by_ref_mut)]
impl LivePage {
    pub(super) const fn start(_: &LiveArguments, _: bool, _: bool) -> anyhow::Result<Self> {
        Ok(Self)
    }
    pub(super) const fn is_served(&self) -> bool {
        false
    }
    pub(super) const fn turn_page(&mut self) -> Option<Vec<String>> {
        None
    }
    pub(super) const fn show(&mut self, _: &View, _: Instant) {}
    pub(super) const fn order_from_pages(
        &mut self,
        _: &LinkKeeper,
        _: &[ActiveAlarm],
        _: Option<&ProcedureFile>,
    ) {
    }
    pub(super) const fn gave_order(&mut self) {}
    pub(super) const fn heard(&mut self, _: &LinkNews) {}
    pub(super) const fn play_from_pages(&self, _: &mut Player, _: Option<&ProcedureFile>) {}
}
