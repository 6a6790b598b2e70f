//! The options of `bandward watch`, and what is read by them.

use super::live::LiveArguments;
use super::publication::PublishArguments;
#[cfg(feature = "register")]
use crate::commands::context::ContextArguments;
use crate::demo;
use crate::input::diagnostic::InputErrors;
use crate::input::layout::Layout;
use crate::link::live::places;
#[cfg(feature = "register")]
use crate::register;
use crate::trace;
use crate::watch::arriving::{Arriving, is_stream};
use crate::watch::due::Speed;
#[cfg(feature = "register")]
use anyhow::bail;
use clap::{ArgGroup, Args};
use std::borrow::Cow;
use std::io::{self, IsTerminal as _};
use std::path::{Path, PathBuf};

pub(super) fn speed(text: &str) -> Result<Speed, String> {
    match text.parse::<f64>() {
        _ if text == "max" => Ok(Speed::Most),
        Ok(times) if (0.01..=1000.0).contains(&times) => Ok(Speed::Times(times)),
        _ => Err("allowed: a number from 0.01 to 1000, or max".to_owned()),
    }
}

/// Shows a weld as it goes on: on a board beside the welder, or a logged joint played through the code
/// that runs on the board.
///
/// Without a trace and without a board it plays the demo joint that comes with the program. With both, the
/// board judges the trace in a bench test instead of its inputs, and what it says is shown.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  bandward watch --procedure joint.procedure.toml joint.csv --speed 4\n  \
bandward watch --port /dev/ttyUSB0@460800 --procedure joint.procedure.toml --record live.csv\n  \
bandward watch --tcp 192.168.0.20:5555 --upload joint.procedure.toml\n  \
bandward watch --port /dev/ttyUSB0 --fetch-blackbox last-stop.csv --fetch-journal bands.json\n  \
bandward watch --port /dev/ttyUSB0 --procedure joint.procedure.toml --serve 0.0.0.0:8427\n  \
bandward watch --port /dev/ttyUSB0 --procedure joint.procedure.toml --publish mqtt://192.168.0.9/shop/machine-2\n\n\
--acknowledge, --upload, --fetch-journal, --fetch-blackbox and --release-blackbox do what they say and end, \
unless there is something to show too: a trace or --record.\n\n\
A recording holds what the board tells some times a second: each row the newest reading of every channel. \
Every row is on the disk a second after it came. A file that is there is never written over: the recording goes \
to the same name with a number. Until a .parquet recording ends its rows are in NAME.parquet.rows.csv. \
The black box holds every sample of the last seconds before a stop.\n\n\
Exit code 0: proven within the procedure, or what was asked for is done; 1: something outside it; 2: could not do it; 3: \
nothing is broken, but not everything is proven, such as a joint that was left early. On a board nothing is proven either \
where it has no procedure, told no state or a fault of its own, where a stop was not acknowledged, the hold relay is \
released at the end, or the link was lost."
)]
#[command(group = ArgGroup::new("board"))]
pub struct WatchArguments {
    /// A trace: CSV (also .gz, .zst) or Parquet; `-` is standard input
    pub(super) trace: Option<PathBuf>,
    /// The procedure to judge by; with a board, whose ranges to show while the board judges by it
    #[arg(long, short, value_name = "FILE", conflicts_with = "upload")]
    pub(super) procedure: Option<PathBuf>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    pub(super) layout: Option<PathBuf>,
    /// How many times as fast as it was recorded, or `max` [default: 1; without a screen, page or broker:
    /// max]. A stream is shown as it comes
    #[arg(long, value_name = "N", value_parser = speed)]
    pub(super) speed: Option<Speed>,
    /// One JSON object a line for everything that happens, instead of a screen; also where standard
    /// output is no terminal
    #[arg(long)]
    pub(super) json: bool,
    /// The board at a serial port, 460800 baud where none is given; or `unix:PATH`
    #[arg(long, value_name = "PORT[@BAUD]", group = "board", help_heading = "On a board")]
    pub(super) port: Option<String>,
    /// The board at a network address
    #[arg(long, value_name = "HOST:PORT", group = "board", help_heading = "On a board")]
    pub(super) tcp: Option<String>,
    /// Record what the board tells as a trace that `replay` reads
    #[arg(long, value_name = "FILE", requires = "board", help_heading = "On a board")]
    pub(super) record: Option<PathBuf>,
    /// Adds each joint to this register when it ends, and those of --fetch-journal; the same joint is added once
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE", requires = "board", help_heading = "On a board")]
    pub(super) register: Option<PathBuf>,
    /// The setup of the joint under way, saved by `bandward setup`, for the register
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE", requires = "register", help_heading = "On a board")]
    pub(super) setup: Option<PathBuf>,
    /// The machine, for the register
    #[cfg(feature = "register")]
    #[arg(long, value_name = "NAME", requires = "register", help_heading = "On a board")]
    pub(super) machine: Option<String>,
    /// What is known of the joint under way when the watch begins, for the register
    #[cfg(feature = "register")]
    #[command(flatten, next_help_heading = "For the register")]
    pub(super) context: ContextArguments,
    /// Activate this procedure on the board, and show its ranges
    #[arg(long, value_name = "FILE", requires = "board", help_heading = "On a board")]
    pub(super) upload: Option<PathBuf>,
    /// Acknowledge every active alarm
    #[arg(long, requires = "board", help_heading = "On a board")]
    pub(super) acknowledge: bool,
    /// Write the band records the board keeps, as `trend` reads them
    #[arg(long, value_name = "FILE", requires = "board", help_heading = "On a board")]
    pub(super) fetch_journal: Option<PathBuf>,
    /// Write the samples of the last seconds, or before the first stop, as a trace that `replay` reads
    #[arg(long, value_name = "FILE", requires = "board", help_heading = "On a board")]
    pub(super) fetch_blackbox: Option<PathBuf>,
    /// Re-arm the black box after a stop; after fetching, if both are asked for, and only where the file is whole
    #[arg(long, requires = "board", help_heading = "On a board")]
    pub(super) release_blackbox: bool,
    #[command(flatten)]
    pub(super) live: LiveArguments,
    #[command(flatten)]
    pub(super) publish: PublishArguments,
}

impl WatchArguments {
    /// The board's address, as the link takes it.
    pub(super) fn address(&self) -> Option<String> {
        let tcp = self.tcp.as_ref().map(|address| format!("tcp:{address}"));
        tcp.or_else(|| self.port.clone())
    }
    /// Refuses what is said of a joint that goes on, where none is watched; `instead` is what can be done.
    ///
    /// # Errors
    /// Tells which option.
    #[cfg(feature = "register")]
    pub(super) fn refuse_unwatched(&self, instead: &str) -> anyhow::Result<()> {
        match self.said_of_joint().first() {
            Some(option) => {
                bail!("{option} is of the joint under way on a board, and none is watched: {instead}")
            }
            None => Ok(()),
        }
    }
    /// The options that say something of the joint under way; the machine is of every joint.
    #[cfg(feature = "register")]
    pub(super) fn said_of_joint(&self) -> Vec<String> {
        let claims = self.context.claims(None).into_iter().map(|claim| claim.source);
        let files = self.context.files().into_iter().map(|(option, _)| option.to_owned());
        let others = [("--setup", self.setup.is_some()), ("--of-joint", self.context.of_joint().is_some())];
        let others = others.into_iter().filter(|(_, is_said)| *is_said).map(|(option, _)| option.to_owned());
        claims.chain(files).chain(others).collect()
    }
    /// What is read, each with what it is.
    pub(super) fn inputs(&self) -> Vec<(&str, &Path)> {
        let named = [
            ("the trace", &self.trace),
            ("--procedure", &self.procedure),
            ("--upload", &self.upload),
            ("--layout", &self.layout),
            #[cfg(feature = "register")]
            ("--setup", &self.setup),
        ];
        let named = named.into_iter().filter_map(|(what, path)| Some((what, path.as_deref()?)));
        #[cfg(feature = "register")]
        let named = named.chain(self.context.files());
        #[cfg(feature = "publish")]
        let named = named.chain(self.publish.files());
        named.collect()
    }
    /// What is written, each with its option; a recording to no file that is there.
    pub(super) fn outputs(&self) -> Vec<(&str, Cow<'_, Path>)> {
        let named = [("--fetch-journal", &self.fetch_journal), ("--fetch-blackbox", &self.fetch_blackbox)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        #[cfg(feature = "serve")]
        let named = named.chain(self.live.log().map(|path| ("--serve-log", path)));
        let outputs = named.map(|(option, path)| (option, Cow::Borrowed(path)));
        let recorded = self.record.iter().flat_map(|path| places(path));
        let outputs = outputs.chain(recorded.map(|path| ("--record", Cow::Owned(path))));
        #[cfg(feature = "register")]
        let outputs =
            outputs.chain(self.register.iter().flat_map(|path| register::files("--register", path)));
        outputs.collect()
    }
    pub(super) fn has_screen(&self) -> bool {
        !self.json && std::io::stdout().is_terminal()
    }
    /// As asked for; else as fast as a person follows where there is a screen, a page or a broker.
    pub(super) fn speed(&self) -> Speed {
        let is_seen = self.has_screen() || self.live.is_any() || self.publish.is_any();
        self.speed.unwrap_or(if is_seen { Speed::Times(1.0) } else { Speed::Most })
    }
    pub(super) fn reader(&self) -> anyhow::Result<trace::TraceReader> {
        read(self.trace.as_deref(), self.layout.as_deref(), trace::open)
    }
    /// A trace that may take for ever to come.
    ///
    /// # Errors
    /// The machine refuses a thread for it.
    pub(super) fn stream(&self) -> io::Result<Option<Arriving>> {
        let (trace, layout) = (self.trace.clone(), self.layout.clone());
        is_stream(trace.as_deref())
            .then(|| Arriving::begin(move || read(trace.as_deref(), layout.as_deref(), trace::open_early)))
            .transpose()
    }
}

type Open = fn(&Path, Option<&Layout>) -> Result<trace::TraceReader, InputErrors>;

pub(super) fn read(
    trace: Option<&Path>,
    layout: Option<&Path>,
    open: Open,
) -> anyhow::Result<trace::TraceReader> {
    let layout = layout.map(Layout::read).transpose()?;
    Ok(match trace {
        Some(path) => open(path, layout.as_ref())?,
        None => demo::trace()?,
    })
}
