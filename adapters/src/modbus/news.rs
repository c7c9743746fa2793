//! What a round says that the one before it did not.

use std::time::{Duration, Instant};

use stencilward_domain::signal::Said;

/// A machine that says the same again and again is heard this often.
const AGAIN: Duration = Duration::from_secs(1);

/// What was told last. Rounds come faster than strokes: most say what the one before said.
#[derive(Debug, Default)]
pub(crate) struct News {
    last: Vec<Said>,
    told: Option<Instant>,
}

impl News {
    /// True when this is to be told now.
    pub(crate) fn are_in(&mut self, said: &[Said], now: Instant) -> bool {
        if said.is_empty() {
            return false;
        }
        let recent = self.told.is_some_and(|told| now.duration_since(told) < AGAIN);
        if recent && self.last == said && said.iter().all(is_state) {
            return false;
        }
        self.last.clear();
        self.last.extend_from_slice(said);
        self.told = Some(now);
        true
    }
}

/// True for what is no other fact when it is said twice.
fn is_state(said: &Said) -> bool {
    matches!(said, Said::CounterRead { .. } | Said::Seated { .. } | Said::Removed)
}

#[cfg(test)]
mod tests {
    use stencilward_domain::names::StencilCode;

    use super::*;

    fn seated() -> Said {
        Said::Seated { code: StencilCode::new("ST-1").unwrap() }
    }

    #[test]
    fn the_same_state_is_told_once_a_second() {
        let (mut news, start) = (News::default(), Instant::now());
        let at = |millis| start + Duration::from_millis(millis);
        assert!(news.are_in(&[seated()], at(0)));
        assert!(!news.are_in(&[seated()], at(10)));
        assert!(news.are_in(&[Said::Removed], at(20)), "another state");
        assert!(news.are_in(&[seated()], at(30)), "the first again, after another");
        assert!(!news.are_in(&[seated()], at(1_029)));
        assert!(news.are_in(&[seated()], at(1_030)), "its second is over");
    }

    #[test]
    fn what_happens_twice_is_told_twice() {
        let (mut news, now) = (News::default(), Instant::now());
        let strokes = [Said::StrokesDone { count: 1 }, seated()];
        assert!(news.are_in(&strokes, now) && news.are_in(&strokes, now));
        assert!(!news.are_in(&[], now));
    }
}
