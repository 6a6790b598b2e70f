//! One replay as one page that needs nothing but itself.
//!
//! Decides: what stands where: the verdict first, then where, then why, then the method.
//! Assumes: a browser of the last years; without scripts everything but the zoom is still there.
//! Never: asks the network for anything, nor says by colour alone what words do not say.

pub mod card;
mod evidence;
mod findings;
mod head;
mod html;
mod inspection;
mod joint;
pub mod plan;
mod repair;
mod setup;
pub mod shift;
#[cfg(feature = "register")]
pub mod stored;
mod tables;
mod traces;
pub mod trend;
mod trend_chart;

use super::Report;
use super::model::verdict::Verdict;
pub(super) use html::escape;
use html::{begin, put};

/// The page, as HTML.
pub fn page(report: &Report<'_>) -> String {
    let mut page = String::with_capacity(1 << 20);
    let verdict = Verdict::of(report.replay);
    let title = format!("{}: {}{}", head::name(report), verdict.words, verdict.rest);
    let paper = evidence::paper(report, &title);
    begin(&mut page, &title, &[include_str!("style.css"), &paper], true);
    put!(page, "<a class=\"skip\" href=\"#main\">To the verdict</a>");
    head::header(&mut page, report);
    put!(page, "<main id=\"main\">");
    head::verdict(&mut page, report, &verdict);
    findings::section(&mut page, report);
    joint::section(&mut page, report);
    repair::section(&mut page, report);
    inspection::section(&mut page, report);
    tables::alarms(&mut page, report);
    tables::bands(&mut page, report);
    traces::section(&mut page, report);
    tables::not_judged(&mut page, report);
    setup::section(&mut page, report);
    evidence::section(&mut page, report);
    put!(page, "</main>");
    traces::script(&mut page, report);
    put!(page, "</body>\n</html>");
    page
}
