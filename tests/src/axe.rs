//! axe-core, somebody else's checks of accessibility, run in a page.
//!
//! Decides: which of its rules count: WCAG 2.2, levels A and AA, and its best practices.
//! Assumes: `.ci/run` has put it into the target directory.
//! Never: passes where it checked nothing.

use crate::driven::{Driven, Page};
use crate::program;
use serde_json::Value;

/// Where it is installed, below the target directory.
const PLACE: &str = "axe/node_modules/axe-core/axe.min.js";

/// The checks.
pub struct Axe(String);

impl Axe {
    /// Those that are installed. Where there are none, `check` is skipped by name.
    ///
    /// # Panics
    /// There are none and this runs under continuous integration (`CI=true`).
    pub fn find(check: &str) -> Option<Self> {
        let target = program::path().ancestors().nth(2).expect("a target directory").to_owned();
        let script = std::fs::read_to_string(target.join(PLACE)).ok();
        if script.is_none() {
            assert!(
                std::env::var("CI").as_deref() != Ok("true"),
                "{check} needs axe-core, which .ci/run installs"
            );
            eprintln!(
                "skipped: {check}: axe-core is not installed (npm install --prefix target/axe axe-core)"
            );
        }
        script.map(Self)
    }
    /// What is of a serious or critical kind in this page, a line each; `when` stands before it.
    ///
    /// # Panics
    /// It checked nothing.
    pub fn faults(&self, browser: &mut Driven, page: &Page, when: &str) -> Vec<String> {
        browser.value(page, &format!("window.axe ? 1 : (() => {{ {}; return 1; }})()", self.0));
        let told = browser.value(page, RUN);
        let passed = told["passed"].as_u64().unwrap_or_default();
        assert!(passed > 10, "{when}: {passed} rules applied");
        let faults = told["faults"].as_array().cloned().unwrap_or_default();
        faults.iter().map(|fault| format!("{when}: {}", fault.as_str().unwrap_or_default())).collect()
    }
    /// Rules on whose elements it could not decide, with how many.
    pub fn undecided(browser: &mut Driven, page: &Page) -> Value {
        browser.value(page, "window.undecided")
    }
}

const RUN: &str = "axe.run(document, {
    runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
}).then((told) => {
    window.undecided = told.incomplete.map((one) => `${one.id}: ${one.nodes.length}`);
    const faults = told.violations.filter((one) => ['serious', 'critical'].includes(one.impact));
    const words = (fault) => fault.nodes.map((node) =>
        `${fault.id}: ${node.target.join(' ')}: ${[...node.any, ...node.all, ...node.none].map((one) => one.message).join('; ')}`);
    return { passed: told.passes.length, faults: faults.flatMap(words) };
})";
