//! One mistake in a configuration: where it is, what is wrong, what is allowed.

use std::fmt;

/// A mistake in a configuration file, told so that it can be mended without asking anybody.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The file's name as it is shown to people.
    pub file: String,
    /// The line, from 1; none when the whole file is meant.
    pub line: Option<usize>,
    /// The column, from 1.
    pub column: Option<usize>,
    /// The path of the key, such as `machines[2].modbus.points[0].words`; empty for the file.
    pub path: String,
    /// What is wrong.
    pub wrong: String,
    /// What is allowed, or how to mend it, where that can be said.
    pub allowed: Option<String>,
}

impl Fault {
    /// A fault of the file as a whole.
    pub fn of_file(file: impl Into<String>, wrong: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            line: None,
            column: None,
            path: String::new(),
            wrong: wrong.into(),
            allowed: None,
        }
    }

    /// The same fault, saying also what is allowed.
    #[must_use]
    pub fn allowing(self, allowed: impl Into<String>) -> Self {
        Self { allowed: Some(allowed.into()), ..self }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if !self.path.is_empty() {
            write!(f, ": {}", self.path)?;
        }
        write!(f, ": {}", self.wrong)?;
        match &self.allowed {
            Some(allowed) => write!(f, "; allowed: {allowed}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for Fault {}

/// Sorts faults by file and line and drops those said twice.
#[must_use]
pub fn settled(mut faults: Vec<Fault>) -> Vec<Fault> {
    faults.sort_by(|a, b| place(a).cmp(&place(b)));
    faults.dedup();
    faults
}

fn place(fault: &Fault) -> impl Ord + '_ {
    (&fault.file, fault.line, fault.column, &fault.path, &fault.wrong, &fault.allowed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_without_line_path_or_remedy_reads_well() {
        let fault = Fault::of_file("plant.yaml", "the file is empty");
        assert_eq!(fault.to_string(), "plant.yaml: the file is empty");
    }

    #[test]
    fn faults_come_in_the_order_of_the_file_and_once() {
        let at = |line, path: &str| Fault {
            line: Some(line),
            path: path.to_owned(),
            ..Fault::of_file("plant.yaml", "wrong")
        };
        let faults = settled(vec![at(9, "b"), at(2, "c"), at(9, "a"), at(9, "b")]);
        let shown: Vec<String> = faults.iter().map(Fault::to_string).collect();
        assert_eq!(
            shown,
            ["plant.yaml:2: c: wrong", "plant.yaml:9: a: wrong", "plant.yaml:9: b: wrong"]
        );
    }
}
