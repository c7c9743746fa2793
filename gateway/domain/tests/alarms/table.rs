//! Every state × every input × all circumstances, against a table that is written down here.
//!
//! Source: ANSI/ISA-18.2-2016 and IEC 62682, alarm state transition diagram, from memory; the
//! standards' text was not at hand. What the diagram does not give, or leaves open, is named under
//! `CHOSEN` with the reason.

use stencilward_domain::alarm::{AlarmState, Circumstances, Input, Next, next};

/// Letters of the states, A to I. `x` no change, `!` refused, `D/E` D or latched E, `?` A or B by
/// the condition, `!/A` refused while the condition holds, else A.
///
/// Columns as in `Input::ALL`: condition true, condition false, acknowledge, reset, shelve,
/// unshelve, suppress, release, take out, return, alarm again.
const TABLE: [(char, [&str; 11]); 9] = [
    ('A', ["B", "x", "!", "!", "G", "!", "H", "x", "I", "!", "x"]),
    ('B', ["x", "D/E", "C", "!", "G", "!", "H", "x", "I", "!", "x"]),
    ('C', ["x", "A/F", "!", "!", "G", "!", "H", "x", "I", "!", "B"]),
    ('D', ["B", "x", "A", "!", "G", "!", "H", "x", "I", "!", "x"]),
    ('E', ["B", "x", "F", "!", "G", "!", "H", "x", "I", "!", "x"]),
    ('F', ["B", "x", "!", "!/A", "G", "!", "H", "x", "I", "!", "x"]),
    ('G', ["x", "x", "!", "!", "!", "?", "x", "x", "!", "!", "x"]),
    ('H', ["x", "x", "!", "!", "!", "!", "x", "?", "!", "!", "x"]),
    ('I', ["x", "x", "!", "!", "!", "!", "x", "x", "!", "?", "x"]),
];

/// The standards' transitions, all from memory: from, the input's place, the cell.
const STANDARD: [(&str, Input, &str); 13] = [
    ("A", Input::ConditionTrue, "B"),
    ("B", Input::Acknowledge, "C"),
    ("B", Input::ConditionFalse, "D/E"),
    ("C", Input::ConditionFalse, "A/F"),
    ("D", Input::Acknowledge, "A"),
    ("D", Input::ConditionTrue, "B"),
    ("C", Input::AlarmAgain, "B"),
    ("E", Input::Acknowledge, "F"),
    ("F", Input::Reset, "!/A"),
    ("ABCDEF", Input::Shelve, "G"),
    ("ABCDEF", Input::Suppress, "H"),
    ("ABCDEF", Input::TakeOut, "I"),
    // Shelving ends by expiry or by hand, suppression by logic, service by hand: all to A or B.
    ("G", Input::Unshelve, "?"),
];

/// What the standards leave open or allow variants of, as it was chosen here.
const CHOSEN: [(&str, Input, &str); 7] = [
    // Re-evaluated as after shelving.
    ("H", Input::Release, "?"),
    ("I", Input::Return, "?"),
    // A second occurrence tells a latched alarm anew.
    ("EF", Input::ConditionTrue, "B"),
    // Acknowledged before it is reset, never both at once.
    ("E", Input::Reset, "!"),
    // Shelving is not prolonged unseen: it comes back first.
    ("G", Input::Shelve, "!"),
    // One thing silences at a time; logic waits until a person's silence is over.
    ("GI", Input::Suppress, "x"),
    ("GH", Input::TakeOut, "!"),
];

fn letter(state: AlarmState) -> char {
    let place = AlarmState::ALL.iter().position(|other| *other == state).expect("a state");
    ('A'..='I').nth(place).expect("a letter")
}

fn state(letter: char) -> AlarmState {
    let found = AlarmState::ALL.into_iter().find(|state| self::letter(*state) == letter);
    found.expect("a letter of a state")
}

fn cell(from: char, input: Input) -> &'static str {
    let place = Input::ALL.iter().position(|other| *other == input).expect("an input");
    let (_, row) = TABLE.iter().find(|(letter, _)| *letter == from).expect("a row");
    row[place]
}

/// What a cell means in these circumstances: none when it is refused.
fn meant(cell: &str, from: AlarmState, now: Circumstances) -> Option<AlarmState> {
    match cell {
        "x" => Some(from),
        "!" => None,
        "?" => Some(state(if now.condition { 'B' } else { 'A' })),
        "!/A" => (!now.condition).then_some(state('A')),
        pair => {
            let (plain, latched) = pair.split_once('/').unwrap_or((pair, pair));
            let to = if now.latching { latched } else { plain };
            to.chars().next().map(state)
        }
    }
}

#[test]
fn every_cell_is_as_written() {
    let mut cells = 0;
    for from in AlarmState::ALL {
        for input in Input::ALL {
            for (latching, condition) in
                [(false, false), (false, true), (true, false), (true, true)]
            {
                let now = Circumstances { latching, condition };
                let goes = match next(from, input, now) {
                    Next::To(to) => Some(to),
                    Next::Stays => Some(from),
                    Next::Refused(why) => {
                        assert!(why.len() > 10, "{why}");
                        None
                    }
                };
                let expected = meant(cell(letter(from), input), from, now);
                assert_eq!(goes, expected, "{from:?} {input:?} {now:?}");
                cells += 1;
            }
        }
    }
    assert_eq!(cells, 9 * 11 * 4);
}

#[test]
fn the_standards_transitions_are_in_it() {
    for (from, input, expected) in STANDARD.into_iter().chain(CHOSEN) {
        for from in from.chars() {
            assert_eq!(cell(from, input), expected, "{from} {input:?}");
        }
    }
}

/// Nothing that happens by itself may be refused, and nothing that a person asks pass unanswered.
#[test]
fn things_are_never_refused_and_people_always_answered() {
    for (from, row) in TABLE {
        for (input, cell) in Input::ALL.into_iter().zip(row) {
            let by_itself = matches!(
                input,
                Input::ConditionTrue
                    | Input::ConditionFalse
                    | Input::Suppress
                    | Input::Release
                    | Input::AlarmAgain
            );
            assert!(if by_itself { cell != "!" } else { cell != "x" }, "{from} {input:?}");
        }
    }
}

/// The documentation's tables are those of the program.
#[test]
fn the_readme_says_what_the_program_does() {
    let readme = include_str!("../../README.md");
    for kind in stencilward_domain::alarm::AlarmKind::ALL {
        let about = kind.about();
        let row = format!(
            "| `{}` | {} | {} | {} | {} |",
            about.code, about.wrong, about.to_do, about.who, about.ends
        );
        assert!(readme.lines().any(|line| line == row), "{row}");
    }
    for (letter, row) in TABLE {
        let cells = row.map(|cell| match cell {
            "x" => "–",
            "!" => "×",
            "?" => "A\\|B",
            "!/A" => "A, × while it holds",
            cell => cell,
        });
        let end = format!(" | {} |", cells.join(" | "));
        let begin = format!("| {letter} ");
        let found = readme.lines().find(|line| line.starts_with(&begin));
        assert!(found.is_some_and(|line| line.ends_with(&end)), "{begin}{end}");
    }
}
