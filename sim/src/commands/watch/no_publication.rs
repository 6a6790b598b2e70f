//! In the place of what a broker is told, in a program that was built without it.
//!
//! Decides: nothing.
//! Never: connects to anything.

use crate::watch::ledger::News;
use crate::watch::view::View;
use clap::Args;
use serde_json::Value;
use std::time::Instant;

/// No options.
#[derive(Args)]
pub struct PublishArguments {}

// The other one has something to do in each of these.
#[allow(clippy::unused_self)]
impl PublishArguments {
    pub(super) const fn is_any(&self) -> bool {
        false
    }
}

pub(super) struct Publication;

#[allow(clippy::unused_self, clippy::unnecessary_wraps, clippy::needless_pass_by_ref_mut)]
impl Publication {
    pub(super) const fn start(_: &PublishArguments) -> anyhow::Result<Self> {
        Ok(Self)
    }
    pub(super) const fn is_any(&self) -> bool {
        false
    }
    pub(super) const fn take(&self, _: &[News]) {}
    pub(super) const fn show(&mut self, _: &View, _: Instant) {}
    pub(super) const fn words(&self) -> Option<String> {
        None
    }
    pub(super) const fn news(&mut self) -> Option<Value> {
        None
    }
    pub(super) const fn end(self) -> anyhow::Result<()> {
        Ok(())
    }
}
