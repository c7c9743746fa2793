//! Prometheus' own opinion of our metrics and rules.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use crate::missing;

const PACKAGE: &str = "Debian package prometheus";

/// Checks that `promtool check metrics` accepts a scrape and has nothing to say about its names.
/// Skipped aloud without promtool.
///
/// # Panics
/// When it complains.
pub fn check_metrics(text: &str) {
    let Some(promtool) = missing::program("promtool", PACKAGE) else {
        return;
    };
    let mut command = Command::new(promtool);
    command.args(["check", "metrics"]);
    expect_silence(&feed(&mut command, text), "metrics");
}

/// Checks that `promtool check rules` accepts a file of rules. Skipped aloud without promtool.
///
/// # Panics
/// When it complains.
pub fn check_rules(file: &Path) {
    let Some(promtool) = missing::program("promtool", PACKAGE) else {
        return;
    };
    let mut command = Command::new(promtool);
    command.args(["check", "rules"]).arg(file);
    expect_silence(&feed(&mut command, ""), &file.display().to_string());
}

fn feed(command: &mut Command, input: &str) -> Output {
    let run = || -> std::io::Result<Output> {
        let mut child =
            command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn()?;
        if let Some(mut stdin) = child.stdin.take() {
            stdin.write_all(input.as_bytes())?;
        }
        child.wait_with_output()
    };
    run_or_panic(run)
}

fn run_or_panic(mut run: impl FnMut() -> std::io::Result<Output>) -> Output {
    run().unwrap_or_else(|why| panic!("promtool cannot be run: {why}"))
}

fn expect_silence(output: &Output, what: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success() && said.trim().is_empty(),
        "promtool does not accept {what}:\n{}{said}",
        String::from_utf8_lossy(&output.stdout)
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "# HELP stencilward_strokes_total Strokes booked.\n\
                        # TYPE stencilward_strokes_total counter\n\
                        stencilward_strokes_total{machine=\"printer-1\"} 7\n";

    #[test]
    fn accepts_a_good_scrape() {
        check_metrics(GOOD);
    }

    #[test]
    #[should_panic(expected = "_total")]
    fn refuses_a_counter_named_wrongly() {
        check_metrics(&GOOD.replace("_total", ""));
        assert!(missing::on_path("promtool").is_some(), "no promtool for _total");
    }
}
