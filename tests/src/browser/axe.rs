//! Has axe-core look for what keeps people out. Its script comes with a Python package.

use std::process::Command;

use serde_json::Value;

use super::{Browser, good};
use crate::python;

/// The rules of WCAG 2.0 to 2.2, levels A and AA, and what axe-core calls best practice.
const TAGS: [&str; 6] = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

/// Where the package has its script.
const WHERE: &str = "
import importlib.util
package = importlib.util.find_spec('axe_playwright_python')
print(package.submodule_search_locations[0] + '/axe.min.js')
";

const LOOK: &str = "
    const done = arguments[arguments.length - 1];
    const tell = (node) => node.target.join(' ') + ' ' + node.failureSummary;
    axe.run(document, { runOnly: { type: 'tag', values: TAGS }, resultTypes: ['violations'] })
        .then((seen) => done({
            passed: seen.passes.length,
            violations: seen.violations.map((v) => v.id + ': ' + v.nodes.map(tell).join('; ')),
        }))
        .catch((why) => done({ violations: [String(why)] }));";

/// The script.
pub struct Axe(String);

impl Axe {
    /// None, said aloud, when it cannot be had.
    ///
    /// # Panics
    /// When it cannot be had and `CI=true`.
    #[must_use]
    pub fn find() -> Option<Self> {
        let python = python::for_peers()?;
        let output = good("Python", Command::new(python).args(["-c", WHERE]).output());
        let file = String::from_utf8_lossy(&output.stdout).trim().to_owned();
        Some(Self(good(&file, std::fs::read_to_string(&file))))
    }
}

impl Browser {
    /// What axe-core finds wrong with the page as it is.
    ///
    /// # Panics
    /// When it looked at nothing.
    pub async fn faults(&self, axe: &Axe) -> Vec<String> {
        if self.run("return typeof axe === 'undefined'").await == Value::Bool(true) {
            // As the person who looks: the page's own rules forbid scripts from elsewhere.
            good("axe-core", self.driver.execute(&axe.0, Vec::new()).await);
        }
        let look = LOOK.replace("TAGS", &format!("{TAGS:?}"));
        let seen = good("axe-core looks", self.driver.execute_async(&look, Vec::new()).await);
        let list = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let violations: Vec<String> =
            seen["violations"].as_array().into_iter().flatten().map(list).collect();
        let looked = seen["passed"].as_u64().unwrap_or_default();
        assert!(looked >= 5 || !violations.is_empty(), "axe-core looked at nothing: {seen}");
        violations
    }
}
