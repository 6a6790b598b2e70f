//! Pages and pictures of a replay: which are asked for, and where they go.
//!
//! Decides: when they can be made; of many logs `--report` names the folder of their pages.
//! Assumes: the trace has been replayed once.
//! Never: changes the verdict.

use crate::output;
use crate::output::named;
use crate::output::terminal::remark;
use crate::report::{Report, page, picture};
use anyhow::bail;
use clap::Args;
use std::path::{Path, PathBuf};

/// Which are asked for.
#[derive(Args)]
pub struct PictureArguments {
    /// Write one page (HTML) with everything on it: verdict, joint unrolled, alarms, traces; of many traces a
    /// folder of pages, and index.html in it that leads to them
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Write a picture (PNG): verdict, joint unrolled, traces
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
}

impl PictureArguments {
    /// Is any asked for?
    pub const fn is_any(&self) -> bool {
        self.report.is_some() || self.png.is_some()
    }
    /// Those asked for, each with its option.
    pub fn outputs(&self) -> Vec<(&'static str, &Path)> {
        let named = [("--report", self.report.as_deref()), ("--png", self.png.as_deref())];
        named.into_iter().filter_map(|(option, path)| Some((option, path?))).collect()
    }
    /// The page; of many logs the folder of their pages.
    pub fn report(&self) -> Option<&Path> {
        self.report.as_deref()
    }
    /// Refuses what cannot be done, before any work.
    ///
    /// # Errors
    /// A picture of many logs, or one file for their pages.
    pub fn check(&self, is_many: bool) -> anyhow::Result<()> {
        if !is_many {
            return Ok(());
        }
        if self.png.is_some() {
            bail!(
                "--png shows one trace, and there may be several: replay them one by one, or use --report FOLDER"
            );
        }
        let is_page = |path: &&Path| {
            let is_named_so = |ending: &std::ffi::OsStr| {
                ["html", "htm"].iter().any(|known| ending.eq_ignore_ascii_case(known))
            };
            path.is_file() || (!path.is_dir() && path.extension().is_some_and(is_named_so))
        };
        if let Some(file) = self.report().filter(is_page) {
            bail!("--report {}: several traces make several pages; name a folder for them", named(file));
        }
        Ok(())
    }
    /// Writes the page and the picture of a single trace.
    ///
    /// # Errors
    /// A file cannot be written.
    pub fn write(&self, report: &Report<'_>) -> anyhow::Result<()> {
        if let Some(path) = &self.report {
            write(path, page::page(report).as_bytes())?;
        }
        if let Some(path) = &self.png {
            write(path, &picture::png(report)?)?;
        }
        Ok(())
    }
}

fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    output::write(path, bytes)?;
    remark(&format!("written: {}", named(path)));
    Ok(())
}
