//! The lines a person types, or a script pipes in, while a rehearsal runs.

use std::time::Duration;

use stencilward_adapters::settings::Span;
use stencilward_adapters::simulated::Fault;
use stencilward_domain::names::{MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::WashOutcome;

/// What `help` answers.
pub(super) const HELP: &str = "\
faults of a machine, by its name:
  printer-1 off | on            no power, and power again
  printer-1 silent              connected, and says nothing
  printer-1 late 2s             says everything so much later
  printer-1 answers 06          answers everything with this Modbus exception
  printer-1 cut                 its connections end
  printer-1 disobeys            its outputs do not follow
  printer-1 restarts-counting   its totals begin again at zero
  printer-1 jumps 5000          its totals leap ahead
  printer-1 misreads            names its stencil wrongly
  printer-1 repeats [3]         says the last thing again
  printer-1 floods [500]        sends messages that mean nothing
  printer-1 well                all of that ends
brokers:
  broker floor off | on
by hand, with --by-hand:
  printer-1 seats ST-0001 | empties | prints 20 | begins WO-1 [boards] | finishes WO-1 [boards]
  washer-1 washes ST-0001 [passed|failed|aborted]
  rack-1 stores ST-0001 [slot] | takes ST-0001
  planning releases WO-1 [boards]
and:
  wait 5s                       the next line waits
  help                          this
  end                           ends the rehearsal";

/// One line, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Line {
    Help,
    End,
    Wait(Duration),
    Broker { name: String, on: bool },
    Machine(MachineName, Deed),
}

/// What becomes of a machine, or what it does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Deed {
    Suffers(Fault),
    Misreads,
    RestartsCounting,
    Jumps(u64),
    IsWell,
    Does(Act),
}

/// What a machine does by hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Act {
    Seats(StencilCode),
    Empties,
    Prints(u64),
    Begins(OrderName, Option<u64>),
    Finishes(OrderName, Option<u64>),
    Washes(StencilCode, WashOutcome),
    Stores(StencilCode, Option<SlotName>),
    Takes(StencilCode),
    Releases(OrderName, Option<u64>),
}

/// Most messages of one repeat or flood.
const MOST_AT_ONCE: u32 = 100_000;

/// Reads a line; none when it is empty or a remark that begins with `#`. An error says what is
/// possible instead.
pub(super) fn read(text: &str, machines: &[MachineName]) -> Result<Option<Line>, String> {
    let text = text.trim();
    if text.is_empty() || text.starts_with('#') {
        return Ok(None);
    }
    // A machine's name may hold blanks, and one may begin with another.
    let named = |name: &&MachineName| {
        let rest = text.strip_prefix(name.as_str());
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(char::is_whitespace))
    };
    let longest = machines.iter().filter(named).max_by_key(|name| name.as_str().len());
    if let Some(machine) = longest {
        let rest = text.get(machine.as_str().len()..).unwrap_or_default();
        let deed = deed(rest).map_err(|why| format!("{machine}: {why}; `help` lists all"))?;
        return Ok(Some(Line::Machine(machine.clone(), deed)));
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    Ok(Some(match words[..] {
        ["help"] => Line::Help,
        ["end"] => Line::End,
        ["wait", ref span @ ..] => Line::Wait(time(&span.join(" "))?),
        ["broker", ref name @ .., "off" | "on"] if !name.is_empty() => {
            Line::Broker { name: name.join(" "), on: text.ends_with("on") }
        }
        _ => {
            let names: Vec<&str> = machines.iter().map(|name| name.as_str()).collect();
            return Err(format!(
                "`{text}` is not understood: begin with a machine ({}), `broker`, `wait`, `help` or \
                 `end`",
                names.join(", ")
            ));
        }
    }))
}

fn deed(text: &str) -> Result<Deed, String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let suffers = |fault| Ok(Deed::Suffers(fault));
    match words[..] {
        ["off"] => suffers(Fault::Off(true)),
        ["on"] => suffers(Fault::Off(false)),
        ["silent"] => suffers(Fault::Silent(true)),
        ["late", ref span @ ..] => suffers(Fault::Late(time(&span.join(" "))?)),
        ["answers", code] => suffers(Fault::Refusing(Some(exception(code)?))),
        ["cut"] => suffers(Fault::Cut),
        ["disobeys"] => suffers(Fault::Disobeying(true)),
        ["repeats"] => suffers(Fault::Repeating(1)),
        ["repeats", times] => suffers(Fault::Repeating(often(times)?)),
        ["floods"] => suffers(Fault::Flooding(500)),
        ["floods", times] => suffers(Fault::Flooding(often(times)?)),
        ["restarts-counting"] => Ok(Deed::RestartsCounting),
        ["jumps", by] => Ok(Deed::Jumps(number(by)?)),
        ["misreads"] => Ok(Deed::Misreads),
        ["well"] => Ok(Deed::IsWell),
        _ => act(&words).map(Deed::Does),
    }
}

fn act(words: &[&str]) -> Result<Act, String> {
    Ok(match *words {
        ["seats", stencil] => Act::Seats(code(stencil)?),
        ["empties"] => Act::Empties,
        ["prints", strokes] => Act::Prints(number(strokes)?),
        ["begins", name] => Act::Begins(order(name)?, None),
        ["begins", name, boards] => Act::Begins(order(name)?, Some(number(boards)?)),
        ["finishes", name] => Act::Finishes(order(name)?, None),
        ["finishes", name, boards] => Act::Finishes(order(name)?, Some(number(boards)?)),
        ["washes", stencil] => Act::Washes(code(stencil)?, WashOutcome::Passed),
        ["washes", stencil, outcome] => Act::Washes(code(stencil)?, ended(outcome)?),
        ["stores", stencil] => Act::Stores(code(stencil)?, None),
        ["stores", stencil, slot] => Act::Stores(code(stencil)?, Some(named(SlotName::new, slot)?)),
        ["takes", stencil] => Act::Takes(code(stencil)?),
        ["releases", name] => Act::Releases(order(name)?, None),
        ["releases", name, boards] => Act::Releases(order(name)?, Some(number(boards)?)),
        _ => {
            return Err(format!(
                "`{}` is nothing that can be done to it: try off, on, silent, late 2s, answers 06, \
                 cut, disobeys, restarts-counting, jumps 5000, misreads, repeats, floods or well",
                words.join(" ")
            ));
        }
    })
}

fn time(text: &str) -> Result<Duration, String> {
    let span = Span::parse(text);
    span.map(|span| span.0).map_err(|_| format!("`{text}` is no time: write it as 5s or 500ms"))
}

fn number(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("`{text}` is no whole number"))
}

fn often(text: &str) -> Result<u32, String> {
    let times: Option<u32> = text.parse().ok().filter(|times| (1..=MOST_AT_ONCE).contains(times));
    times.ok_or_else(|| format!("`{text}`: write a number from 1 to {MOST_AT_ONCE}"))
}

/// Exception codes are written in hexadecimal, as the specification does (MODBUS Application
/// Protocol V1.1b3, 7).
fn exception(text: &str) -> Result<u8, String> {
    let code = u8::from_str_radix(text, 16).ok().filter(|code| *code > 0);
    code.ok_or_else(|| format!("`{text}` is no exception code: write one as 01 to 0B"))
}

fn ended(text: &str) -> Result<WashOutcome, String> {
    let all = [WashOutcome::Passed, WashOutcome::Failed, WashOutcome::Aborted];
    let found = all.into_iter().find(|outcome| outcome.as_str() == text);
    found.ok_or_else(|| format!("`{text}`: a wash is passed, failed or aborted"))
}

fn code(text: &str) -> Result<StencilCode, String> {
    named(StencilCode::new, text)
}

fn order(text: &str) -> Result<OrderName, String> {
    named(OrderName::new, text)
}

fn named<T, E: std::fmt::Display>(new: fn(&str) -> Result<T, E>, text: &str) -> Result<T, String> {
    new(text).map_err(|why| format!("`{text}`: {why}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn machines() -> Vec<MachineName> {
        ["printer-1", "printer", "wash room"]
            .map(|name| MachineName::new(name).expect("a name"))
            .into()
    }

    fn deed_of(text: &str) -> (String, Deed) {
        match read(text, &machines()) {
            Ok(Some(Line::Machine(machine, deed))) => (machine.to_string(), deed),
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn a_machine_is_known_by_its_longest_name() {
        let fault = |text| deed_of(text);
        assert_eq!(fault("printer-1 off").0, "printer-1");
        assert_eq!(fault("printer off").0, "printer");
        assert_eq!(
            fault("  wash room  late 500ms "),
            ("wash room".to_owned(), Deed::Suffers(Fault::Late(Duration::from_millis(500))))
        );
    }

    #[test]
    fn every_line_of_the_help_is_understood() {
        let machines = ["printer-1", "washer-1", "rack-1", "planning"]
            .map(|n| MachineName::new(n).expect("a name"));
        let lines = HELP.lines().filter_map(|line| line.strip_prefix("  "));
        let mut tried = 0;
        for line in lines {
            let words = line.split("   ").next().unwrap_or_default();
            let first = words.split_whitespace().next().unwrap_or_default();
            for (at, part) in words.split(" | ").enumerate() {
                let part = part.split(" [").next().unwrap_or_default();
                let subject = if words.starts_with("broker") { "broker floor" } else { first };
                let text = if at == 0 { part.to_owned() } else { format!("{subject} {part}") };
                assert!(matches!(read(&text, &machines), Ok(Some(_))), "{text}");
                tried += 1;
            }
        }
        assert!(tried > 20, "{tried}");
    }

    #[test]
    fn what_is_not_understood_says_what_is_possible() {
        for (text, told) in [
            ("printer-9 off", "printer-1, printer, wash room"),
            ("printer-1 dance", "off, on, silent"),
            ("printer-1 late soon", "5s"),
            ("printer-1 answers 0G", "01 to 0B"),
            ("printer-1 floods 0", "from 1 to"),
            ("wait", "5s"),
            ("broker on", "broker"),
        ] {
            let why = read(text, &machines()).expect_err(text);
            assert!(why.contains(told), "{text}: {why}");
        }
        assert_eq!(read("  # a remark", &machines()), Ok(None));
    }
}
