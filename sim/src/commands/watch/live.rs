//! The live page of a watch, and what becomes of an act.
//!
//! Decides: how often a state goes out where nothing has changed much.
//! Assumes: it is asked at every look.
//! Never: lets an act through that could not be written down.

use crate::input::procedure_file::ProcedureFile;
use crate::output::terminal::{remark, say_json_line};
use crate::serve::invitation::Invitation;
use crate::serve::server::DEFAULT_ADDRESS;
use crate::serve::{Act, AskedAct, PageServer, act_log::ActLog, metrics};
use crate::watch::keeper::{LinkKeeper, LinkNews};
use crate::watch::order::Order;
use crate::watch::player::Player;
use crate::watch::snapshot;
use crate::watch::urgent::Pace;
use crate::watch::view::View;
use bandward::{ActiveAlarm, Rule, Severity};
use clap::Args;
use serde_json::json;
use std::collections::VecDeque;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Between two states where nothing has changed much.
const PACE: Duration = Duration::from_millis(200);

fn address(text: &str) -> Result<SocketAddr, String> {
    let port = text.parse::<u16>().map(|port| SocketAddr::from(([127, 0, 0, 1], port)));
    port.or_else(|_| text.parse())
        .map_err(|_| format!("allowed: ADDRESS:PORT or PORT, such as {DEFAULT_ADDRESS} or 0.0.0.0:8427"))
}

/// How the page is asked for.
#[derive(Args)]
pub struct LiveArguments {
    /// Serve a live page for browsers, tablets and phones, until this is ended [default: 127.0.0.1:8427, this
    /// machine only; 0.0.0.0:8427 for all of the network, with tokens]
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, default_missing_value = DEFAULT_ADDRESS,
          value_parser = address, help_heading = "Live page")]
    serve: Option<SocketAddr>,
    /// Where everything done from a page is written down, a line each
    #[arg(
        long,
        value_name = "FILE",
        default_value = "page-acts.jsonl",
        requires = "serve",
        help_heading = "Live page"
    )]
    serve_log: PathBuf,
}

impl LiveArguments {
    /// Where what is done from the page is written down.
    pub(super) fn log(&self) -> Option<&Path> {
        self.serve.map(|_| self.serve_log.as_path())
    }
    /// Is a page asked for?
    pub(super) const fn is_any(&self) -> bool {
        self.serve.is_some()
    }
}

struct Served {
    server: PageServer,
    log: ActLog,
    acts: &'static [&'static str],
    invitation: Invitation,
    /// How much of it the screen has told.
    told: usize,
    pace: Pace,
    /// Orders that were given to the board, in their order; those from a page with who waits for them.
    given: VecDeque<Option<AskedAct>>,
}

/// A page, if one is asked for.
pub(super) struct LivePage(Option<Served>);

impl LivePage {
    /// Starts to serve, and tells where.
    pub(super) fn start(arguments: &LiveArguments, is_board: bool, as_lines: bool) -> anyhow::Result<Self> {
        let Some(address) = arguments.serve else { return Ok(Self(None)) };
        let server = PageServer::start(address)?;
        let invitation = Invitation::new(server.address(), server.tokens());
        invitation.lines().iter().for_each(|line| remark(line));
        if as_lines {
            say_json_line(&json!({ "event": "serving", "address": invitation.here() }))?;
        }
        let log = ActLog::new(arguments.serve_log.clone());
        let acts = if is_board { ON_A_BOARD } else { ON_A_TRACE };
        Ok(Self(Some(Served {
            server,
            log,
            acts,
            invitation,
            told: 0,
            pace: Pace::every(PACE),
            given: VecDeque::new(),
        })))
    }
    /// Is there a page?
    pub(super) const fn is_served(&self) -> bool {
        self.0.is_some()
    }
    /// The next thing that a screen tells of the page: where to look on, where to act, then nothing.
    pub(super) fn turn_page(&mut self) -> Option<Vec<String>> {
        let served = self.0.as_mut()?;
        let told = served.invitation.page(served.told);
        served.told = if told.is_some() { served.told + 1 } else { 0 };
        told
    }
    /// Publishes the state, if it is time to.
    pub(super) fn show(&mut self, view: &View, now: Instant) {
        let Some(served) = &mut self.0 else { return };
        if served.pace.is_due(view, now) {
            // Of a trace that has ended nothing can be asked.
            let acts = if view.is_over && view.link.is_none() { &[] } else { served.acts };
            served.server.publish(snapshot::of(view, acts), metrics::of(view));
        }
    }
    /// Gives the board the orders that were asked for from pages.
    pub(super) fn order_from_pages(
        &mut self,
        keeper: &LinkKeeper,
        active: &[ActiveAlarm],
        procedure: Option<&ProcedureFile>,
    ) {
        let Some(served) = &mut self.0 else { return };
        while let Some(asked) = served.asked() {
            if let Some(why) = refusal(asked.act, active, procedure) {
                served.answer(asked, Err(why));
                continue;
            }
            keeper.order(match asked.act {
                Act::Acknowledge => Order::Acknowledge,
                Act::Shelve { rule, for_s } => Order::Shelve(rule, for_s),
                Act::NewJoint => Order::NewJoint,
                Act::ReleaseBlackBox => Order::ReleaseBlackBox,
            });
            served.given.push_back(Some(asked));
        }
    }
    /// An order was given that nobody at a page waits for.
    pub(super) fn gave_order(&mut self) {
        if let Some(served) = &mut self.0 {
            served.given.push_back(None);
        }
    }
    /// Tells whoever waits how the oldest order went.
    pub(super) fn heard(&mut self, said: &LinkNews) {
        let how = match said {
            LinkNews::Done(done) => Ok(done.words.clone()),
            LinkNews::Failed(why) => Err(why.clone()),
            _ => return,
        };
        let Some(served) = &mut self.0 else { return };
        if let Some(asked) = served.given.pop_front().flatten() {
            served.answer(asked, how);
        }
    }
    /// Does on a played trace what was asked for from pages.
    pub(super) fn play_from_pages(&self, player: &mut Player, procedure: Option<&ProcedureFile>) {
        let Some(served) = &self.0 else { return };
        while let Some(asked) = served.asked() {
            let how = on_a_trace(asked.act, player, procedure);
            served.answer(asked, how);
        }
    }
}

impl Served {
    /// The next act that somebody asks for; it is written down.
    fn asked(&self) -> Option<AskedAct> {
        loop {
            let asked = self.server.asked()?;
            match self.log.asked(asked.act, asked.from) {
                Ok(()) => return Some(asked),
                Err(error) => {
                    asked.answer(Err(format!("not done, since it cannot be written down: {error:#}")));
                }
            }
        }
    }
    /// Tells how an act went.
    fn answer(&self, asked: AskedAct, how: Result<String, String>) {
        if let Err(error) = self.log.ended(asked.act, asked.from, &how) {
            // It was asked for, which is written down.
            remark(&format!("{error:#}"));
        }
        asked.answer(how);
    }
}

/// What can be asked for on a played trace.
const ON_A_TRACE: &[&str] = &["acknowledge", "shelve", "new-joint"];
/// What can be asked for on a board.
const ON_A_BOARD: &[&str] = &["acknowledge", "shelve", "new-joint", "release-blackbox"];

/// Why an act is not done, whatever the board would say of it.
fn refusal(act: Act, active: &[ActiveAlarm], procedure: Option<&ProcedureFile>) -> Option<String> {
    let Act::Shelve { rule, for_s: 1.. } = act else { return None };
    let stops = active.iter().any(|alarm| alarm.rule == rule && alarm.severity == Severity::Stop);
    let stops = stops || always_stops(rule, procedure);
    stops.then(|| format!("{} stops the weld: it can be acknowledged, not shelved", rule.name()))
}

/// Can an alarm of this rule be nothing milder than a stop?
fn always_stops(rule: Rule, procedure: Option<&ProcedureFile>) -> bool {
    let usual = rule.default_setting().severity;
    // What has a range has a milder alarm before the stop, but where its floor alone is judged; what has none is as grave
    // as the procedure says.
    let is_of_range = rule.watches().is_some();
    let given = procedure.filter(|_| !is_of_range).map(|file| file.procedure.alarm(rule).severity);
    given.unwrap_or(usual) == Severity::Stop
}

fn on_a_trace(act: Act, player: &mut Player, procedure: Option<&ProcedureFile>) -> Result<String, String> {
    if player.is_over() {
        return Err("the log has ended".to_owned());
    }
    if let Some(why) = refusal(act, &player.ledger().active, procedure) {
        return Err(why);
    }
    match act {
        Act::Acknowledge => {
            player.acknowledge();
            Ok("all alarms acknowledged".to_owned())
        }
        Act::Shelve { rule, for_s } => {
            player.shelve(rule, for_s, Instant::now());
            Ok(match for_s {
                0 => format!("{} is not shelved any more", rule.name()),
                for_s => format!("{} is shelved for {for_s} s", rule.name()),
            })
        }
        Act::NewJoint => {
            player.mark_joint();
            Ok("a new joint begins with the next band".to_owned())
        }
        Act::ReleaseBlackBox => Err("a played trace has no black box".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_only_stop_is_refused_before_it_stands_and_what_can_be_milder_is_not() {
        let shelve = |rule| Act::Shelve { rule, for_s: 300 };
        let file = crate::demo::procedure().expect("sound");
        for procedure in [None, Some(&file)] {
            for rule in
                [Rule::SpindleStall, Rule::PolarityWrong, Rule::SignalMissing, Rule::TransferLowVoltage]
            {
                let told = refusal(shelve(rule), &[], procedure).expect("refused");
                assert!(told.contains("not shelved"), "{told}");
                // What was never put away can be taken back.
                assert_eq!(refusal(Act::Shelve { rule, for_s: 0 }, &[], procedure), None);
            }
            for rule in [Rule::GasLow, Rule::CurrentLow] {
                assert_eq!(refusal(shelve(rule), &[], procedure), None, "{}", rule.name());
            }
        }
    }
}
