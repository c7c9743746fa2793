//! What was refused in this shift and not permitted since.

use std::collections::BTreeMap;
use std::sync::Arc;

use maud::{Markup, html};
use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::names::StencilCode;
use stencilward_domain::time::Timestamp;

use super::SHOWN;
use crate::pages::layout::{event_link, name_link, text};
use crate::pages::telling::reasons;
use crate::pages::words::Words;

/// The last refusal of each stencil and question, unless it was permitted since.
pub(super) fn refused(recent: &[Arc<Recorded>], since: Timestamp) -> Vec<&Recorded> {
    let mut last: BTreeMap<(Option<&StencilCode>, Rule), &Recorded> = BTreeMap::new();
    for recorded in recent.iter().filter(|recorded| recorded.fact.at >= since) {
        if let Event::Decided { decision, .. } = &recorded.fact.event
            && decision.rule != Rule::Print
        {
            last.entry((decision.stencil.as_ref(), decision.rule)).or_insert(recorded);
        }
    }
    let mut refused: Vec<&Recorded> = last
        .into_values()
        .filter(|recorded| decided(recorded).is_some_and(|d| !d.permitted()))
        .collect();
    refused.sort_by_key(|recorded| std::cmp::Reverse(recorded.position));
    refused
}

fn decided(recorded: &Recorded) -> Option<&Decision> {
    match &recorded.fact.event {
        Event::Decided { decision, .. } => Some(decision),
        _ => None,
    }
}

pub(super) fn refusals(words: &Words, refused: &[&Recorded]) -> Markup {
    html! {
        section aria-labelledby="refused" {
            h2 #refused {
                (words.say("worklist-refused")) span.count { (words.number(refused.len() as u64)) }
            }
            @if refused.is_empty() { p.quiet { (words.say("worklist-refused-nothing")) } }
            ol.tasks {
                @for recorded in refused.iter().take(SHOWN) {
                    @if let Some(decision) = decided(recorded) {
                        li {
                            h3 {
                                (words.say(&format!("may-{}-refused", decision.rule.as_str()))) ": "
                                @if let Some(code) = &decision.stencil {
                                    (name_link("stencils", code.as_str()))
                                } @else { (text("–")) }
                            }
                            (reasons(words, &decision.reasons))
                            p.quiet {
                                (words.when(recorded.fact.at))
                                @if let Some(by) = &decision.by { ", " (by) }
                                " " (event_link(recorded.position))
                            }
                        }
                    }
                }
            }
        }
    }
}
