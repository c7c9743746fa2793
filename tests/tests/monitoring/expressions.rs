//! What rules and dashboards ask Prometheus.

use std::path::Path;

use serde_json::Value;

/// One question.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    /// The alert, record or panel.
    pub(crate) name: String,
    pub(crate) expression: String,
    pub(crate) alert: bool,
}

/// Every recording rule, and every series that an alert looks at: alerts themselves are empty while
/// all is well.
pub(crate) fn of_rules(file: &Path) -> Vec<Asked> {
    let text = std::fs::read_to_string(file).unwrap();
    let rules: Value = serde_yaml::from_str(&text).unwrap();
    let groups = rules["groups"].as_array().unwrap().iter();
    let all = groups.flat_map(|group| group["rules"].as_array().unwrap());
    let asked = |rule: &Value| -> Vec<Asked> {
        let expression = rule["expr"].as_str().unwrap();
        match rule["alert"].as_str() {
            None => {
                let name = rule["record"].as_str().unwrap().to_owned();
                vec![Asked { name, expression: expression.to_owned(), alert: false }]
            }
            Some(name) => series(expression)
                .into_iter()
                .map(|expression| Asked { name: name.to_owned(), expression, alert: true })
                .collect(),
        }
    };
    all.flat_map(asked).collect()
}

/// The series that an expression names, without their selectors.
fn series(expression: &str) -> Vec<String> {
    let part = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | ':');
    let words = expression.split(|c: char| !part(c));
    let known = |word: &&str| {
        word.starts_with("stencilward_")
            || word.contains(":stencilward_")
            || word.starts_with("process_")
    };
    words.filter(known).map(str::to_owned).collect()
}

/// Every panel's expression, of the first printer where a machine is chosen.
pub(crate) fn of_dashboard(file: &Path) -> Vec<Asked> {
    let board: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    let panels = board["panels"].as_array().unwrap().iter();
    let title = |panel: &Value| panel["title"].as_str().unwrap().to_owned();
    let asked = panels.flat_map(|panel| {
        let targets = panel["targets"].as_array().unwrap().iter();
        targets.map(move |target| Asked {
            name: title(panel),
            expression: target["expr"].as_str().unwrap().replace("$machine", "printer-1"),
            alert: false,
        })
    });
    asked.collect()
}
