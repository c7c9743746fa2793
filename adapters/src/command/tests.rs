//! A command through everything that may happen to it, step by step.

use super::*;

const WITHIN: Duration = Duration::from_secs(2);

/// A command, the clock, and the last number given.
struct Bench {
    command: Command,
    now: Instant,
    number: u64,
}

impl Bench {
    fn new() -> Self {
        Self { command: Command::new(WITHIN), now: Instant::now(), number: 0 }
    }

    fn turn(&mut self, wanted: bool, verdict: Option<&Verdict>) -> Turn {
        self.turn_shown(wanted, verdict, None)
    }

    fn turn_shown(
        &mut self,
        wanted: bool,
        verdict: Option<&Verdict>,
        shown: Option<Option<bool>>,
    ) -> Turn {
        let number = &mut self.number;
        let fresh = || {
            *number += 1;
            *number
        };
        self.command.turn(wanted, verdict, shown, fresh, self.now)
    }

    fn pass(&mut self, span: Duration) {
        self.now += span;
    }
}

fn tells(number: u64) -> Turn {
    Turn { tell: Some(number), failing: None }
}

fn late(number: u64) -> Turn {
    Turn { tell: Some(number), failing: Some(Failing::Unanswered(number)) }
}

fn refused() -> Verdict {
    Verdict::Refused(Some("door blocked".to_owned()))
}

#[test]
fn it_is_told_once_and_known_when_it_is_done() {
    let mut bench = Bench::new();
    assert_eq!(bench.turn(false, None), tells(1));
    assert_eq!((bench.command.known(), bench.command.due()), (None, Some(bench.now + WITHIN)));
    assert_eq!(bench.turn(false, None), Turn::default());
    assert_eq!(bench.turn(false, Some(&Verdict::Done)), Turn::default());
    assert_eq!((bench.command.known(), bench.command.due()), (Some(false), None));
    bench.pass(Duration::from_secs(3_600));
    assert_eq!(bench.turn(false, Some(&Verdict::Done)), Turn::default());
    assert_eq!(bench.turn(true, Some(&Verdict::Done)), tells(2), "something else is wanted");
    assert_eq!(bench.command.known(), None, "it may have been done already");
}

#[test]
fn unanswered_it_is_repeated_ever_more_slowly_with_the_same_number() {
    let mut bench = Bench::new();
    bench.turn(true, None);
    for seconds in [2, 4, 8, 15, 15] {
        bench.pass(Duration::from_secs(seconds) - Duration::from_millis(1));
        assert_eq!(bench.turn(true, None), Turn::default(), "{seconds}");
        bench.pass(Duration::from_millis(1));
        assert_eq!(bench.turn(true, None), late(1), "{seconds}");
    }
    assert_eq!(bench.turn(true, Some(&Verdict::Done)), Turn::default());
    assert_eq!(bench.command.known(), Some(true), "late, but of this command");
    bench.turn(false, None);
    bench.pass(WITHIN);
    assert_eq!(bench.turn(false, None), late(2), "and the next one begins with the shortest wait");
}

#[test]
fn a_refusal_is_told_once_and_followed_by_a_new_command() {
    let mut bench = Bench::new();
    bench.turn(false, None);
    bench.turn(false, Some(&Verdict::Done));
    assert_eq!(bench.turn(true, Some(&Verdict::Done)), tells(2));
    let failing = Some(Failing::Refused(Some("door blocked".to_owned())));
    assert_eq!(bench.turn(true, Some(&refused())), Turn { tell: None, failing });
    assert_eq!(bench.command.known(), Some(false), "it is as it was before");
    assert_eq!(bench.turn(true, Some(&refused())), Turn::default());
    bench.pass(WITHIN);
    assert_eq!(bench.turn(true, Some(&refused())), tells(3));
    bench.turn(true, Some(&refused()));
    bench.pass(WITHIN);
    assert_eq!(bench.turn(true, Some(&refused())), Turn::default(), "the wait has grown");
    bench.pass(WITHIN);
    assert_eq!(bench.turn(true, Some(&refused())), tells(4));
    assert_eq!(bench.turn(true, Some(&Verdict::Done)), Turn::default());
    assert_eq!(bench.turn(true, Some(&refused())), Turn::default(), "done stays done");
    assert_eq!(bench.command.known(), Some(true));
}

#[test]
fn after_a_loss_it_is_told_again_with_the_same_number() {
    let mut bench = Bench::new();
    bench.turn(true, None);
    bench.turn(true, Some(&Verdict::Done));
    bench.pass(Duration::from_secs(60));
    assert_eq!(bench.turn(true, None), tells(1), "the answer was forgotten");
    assert_eq!(bench.command.known(), None);
    bench.command.doubt();
    assert_eq!(bench.turn(true, None), tells(1), "a new connection");
    bench.pass(WITHIN);
    assert_eq!(bench.turn(true, None), late(1));
    bench.command.doubt();
    assert_eq!(bench.turn(false, None), tells(2), "unless something else is wanted now");
    bench.turn(false, Some(&refused()));
    assert_eq!(bench.command.known(), None, "nothing from before the loss is believed");
}

#[test]
fn what_it_says_is_done_must_show_where_it_is_read_back() {
    let mut bench = Bench::new();
    bench.turn_shown(true, None, Some(None));
    let done = Some(&Verdict::Done);
    assert_eq!(bench.turn_shown(true, done, Some(Some(false))), Turn::default());
    bench.pass(FOLLOWING);
    let anew = Turn { tell: Some(2), failing: Some(Failing::NotShown) };
    assert_eq!(bench.turn_shown(true, done, Some(Some(false))), anew);
    bench.turn_shown(true, done, Some(Some(true)));
    bench.pass(Duration::from_secs(3_600));
    assert_eq!(bench.turn_shown(true, done, Some(Some(true))), Turn::default());
}
