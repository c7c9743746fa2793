//! The guide as steps, and what it shows compared with what is said.
#![allow(clippy::panic, reason = "a guide that cannot be read fails the test there and then")]

/// One thing that the guide has its reader do.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// The file has this text.
    Write(String),
    /// These lines of the file take the place of those.
    Edit { from: Vec<String>, to: Vec<String> },
    /// Something is done at the machine.
    Machine(String),
    /// A command, and what it shows; `typed` after the first of these lines, where it asks.
    Command { line: String, shows: Vec<String>, typed: Option<String> },
}

/// All steps in their order.
pub(crate) fn steps(text: &str) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut names_file = false;
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let fence = line.strip_prefix("```");
        match (fence, comment(line)) {
            (Some(language), _) => {
                let block: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
                match (language, names_file) {
                    ("yaml", true) => steps.push(Step::Write(block.join("\n") + "\n")),
                    ("diff", true) => steps.push(edit(&block)),
                    ("console", _) => commands(&block, &mut steps),
                    other => panic!("a block that no rule is for: {other:?}"),
                }
                names_file = false;
            }
            (None, Some("plant.yaml")) => names_file = true,
            (None, Some(comment)) => {
                let act = comment.strip_prefix("machine: ");
                let act = act.unwrap_or_else(|| panic!("no rule for the comment {comment:?}"));
                steps.push(Step::Machine(act.to_owned()));
            }
            (None, None) => {}
        }
    }
    steps
}

fn comment(line: &str) -> Option<&str> {
    line.strip_prefix("<!-- ")?.strip_suffix(" -->")
}

fn edit(block: &[&str]) -> Step {
    let with = |sign: char| {
        let kept = block.iter().filter(move |line| line.starts_with([' ', sign]));
        kept.map(|line| line[1..].to_owned()).collect()
    };
    Step::Edit { from: with('-'), to: with('+') }
}

fn commands(block: &[&str], steps: &mut Vec<Step>) {
    for text in block {
        match (text.strip_prefix("$ "), text.strip_prefix("< "), steps.last_mut()) {
            (Some(line), ..) => {
                let line = line.to_owned();
                steps.push(Step::Command { line, shows: Vec::new(), typed: None });
            }
            (_, Some(input), Some(Step::Command { typed, .. })) => *typed = Some(input.to_owned()),
            (_, _, Some(Step::Command { shows, .. })) => shows.push((*text).to_owned()),
            _ => panic!("shown by no command: {text}"),
        }
    }
}

/// The file after an edit.
pub(crate) fn edited(file: &str, from: &[String], to: &[String]) -> String {
    let lines: Vec<&str> = file.lines().collect();
    let at = lines.windows(from.len()).position(|window| window == from);
    let at = at.unwrap_or_else(|| panic!("not in the file:\n{}\n{file}", from.join("\n")));
    let after = lines.iter().skip(at + from.len()).copied();
    let before = lines.iter().take(at).copied();
    let all: Vec<&str> = before.chain(to.iter().map(String::as_str)).chain(after).collect();
    all.join("\n") + "\n"
}

/// True when what was said is what is shown; `…` is any part of a line, alone any lines.
pub(crate) fn alike(shown: &[String], said: &[String]) -> bool {
    match (shown.split_first(), said.split_first()) {
        (None, None) => true,
        (Some((first, rest)), _) if first == "…" => {
            (0..=said.len()).any(|skipped| alike(rest, &said[skipped..]))
        }
        (Some((first, rest)), Some((line, others))) => fits(first, line) && alike(rest, others),
        _ => false,
    }
}

fn fits(shown: &str, line: &str) -> bool {
    let mut parts = shown.split('…');
    let first = parts.next().unwrap_or_default();
    let Some(mut rest) = line.strip_prefix(first) else {
        return false;
    };
    let mut parts: Vec<&str> = parts.collect();
    let Some(last) = parts.pop() else {
        return rest.is_empty();
    };
    for part in parts {
        match rest.split_once(part) {
            Some((_, after)) => rest = after,
            None => return false,
        }
    }
    rest.ends_with(last)
}

#[test]
fn what_differs_is_found_and_what_may_differ_is_not() {
    let lines = |text: &str| text.lines().map(str::to_owned).collect::<Vec<_>>();
    let cases = [
        ("a", "a", true),
        ("a", "b", false),
        ("a", "a\nb", false),
        ("a…c", "a b c", true),
        ("a…c", "a b", false),
        ("a…b…c", "a c", false),
        ("…\nb\n…", "a\na\nb", true),
        ("…\nb\n…", "a\nc", false),
        ("…", "", true),
    ];
    for (shown, said, alikes) in cases {
        assert_eq!(alike(&lines(shown), &lines(said)), alikes, "{shown:?} {said:?}");
    }
}

#[test]
fn a_guide_becomes_steps() {
    let text = "# A\n<!-- plant.yaml -->\n```yaml\na: 1\n```\n<!-- plant.yaml -->\n```diff\n a: 1\n\
                -b: 2\n+b: 3\n```\n<!-- machine: permit off -->\n```console\n$ ask\nhow many?\n< 3\n3\n```\n";
    let text_of = |text: &str| text.to_owned();
    let expected = [
        Step::Write(text_of("a: 1\n")),
        Step::Edit {
            from: vec![text_of("a: 1"), text_of("b: 2")],
            to: vec![text_of("a: 1"), text_of("b: 3")],
        },
        Step::Machine(text_of("permit off")),
        Step::Command {
            line: text_of("ask"),
            shows: vec![text_of("how many?"), text_of("3")],
            typed: Some(text_of("3")),
        },
    ];
    assert_eq!(steps(text), expected);
}
