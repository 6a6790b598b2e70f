//! The setup card: one sheet to hang beside the machine, in big type, with which way to turn what.
//!
//! Decides: what stands on it, in which order.
//! Assumes: it is printed, and read from a step away.
//! Never: says more than the setup does; it is no sign-off.

use super::html::{escape, put};
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::report::model::setup::{not_measured, show_moves, show_step, show_wanted, signed, stood};
use crate::report::model::words::typeset;
use crate::report::torch_drawing;
use crate::setup::{Checked, SetupSheet, Step};

const STYLE: &str = "@page{margin:10mm}body{font:14pt/1.2 sans-serif;color:#000;background:#fff;margin:0 auto;\
                     max-width:190mm}h1{font-size:19pt;margin:0}p{margin:.35em 0}ol{padding-left:1.2em;margin:.4em 0}\
                     li{margin:.3em 0}li b{font-size:17pt}small{font-size:10pt;display:block}\
                     strong{border:2pt solid;padding:0 .3em}table{border-collapse:collapse;font-size:10.5pt;\
                     line-height:1.15;width:100%}td,th{border:1px solid;padding:.05em .4em;text-align:left}\
                     td:last-child{width:24%}figure{margin:0;float:right}figure svg{width:170px;height:auto}";

/// The card as one page that asks nothing of the network.
pub fn card(sheet: &SetupSheet, checked: &Checked, procedure: &ProcedureFile, system: UnitSystem) -> String {
    let mut page = String::from("<!doctype html>\n<html lang=\"en\">\n");
    let joint = sheet.joint.as_deref().unwrap_or("joint");
    put!(page, "<meta charset=\"utf-8\"><title>Setup card: {}</title><style>{STYLE}</style>", escape(joint));
    if let Some(drawing) = torch_drawing::svg(checked) {
        put!(page, "<figure>{drawing}</figure>");
    }
    put!(page, "<h1>Setup card: {}</h1>", escape(joint));
    put!(
        page,
        "<p>{}<br><strong>{}</strong></p>",
        escape(&procedure.title()),
        stood(checked.outcome(), "OUTSIDE")
    );
    for warning in &checked.warnings {
        put!(page, "<p><strong>{}</strong></p>", escape(warning));
    }
    for sentence in not_measured(sheet, checked) {
        put!(page, "<p>{}</p>", escape(&capitalized(&sentence)));
    }
    put!(page, "<ol>");
    for step in &checked.steps {
        put!(page, "<li>{}</li>", turn(step, system));
    }
    put!(page, "</ol>\n<table><tr><th>Setting</th><th>Wanted</th><th>Set to</th></tr>");
    for judged in &checked.settings {
        let Some(wanted) = judged.wanted else { continue };
        let wanted = typeset(&escape(&show_wanted(judged.item, wanted, system)));
        put!(page, "<tr><td>{}</td><td>{wanted}</td><td></td></tr>", judged.item.title());
    }
    put!(
        page,
        "</table>\n<p><small>{}. Local codes and licensed practice come first.</small></p>\n</html>",
        escape(&signed(sheet, procedure))
    );
    page
}

fn turn(step: &Step, system: UnitSystem) -> String {
    let small = |label: &str, words: Option<String>| {
        words.map_or(String::new(), |words| format!("<small>{label}: {}</small>", typeset(&escape(&words))))
    };
    format!(
        "<b>{}</b>: {}{}{}",
        step.turn.title(),
        typeset(&escape(&show_step(step, system))),
        small("also moves", show_moves(step, system)),
        small("CAUTION", step.caution.map(str::to_owned)),
    )
}

fn capitalized(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
