//! Breadth first through all that can happen, to a given depth, or to the first thing that must
//! not: by the shortest way to it.

use std::collections::HashSet;
use std::thread;

use super::key::key;
use super::moves::Move;
use super::node::{Checked, Node};

const THREADS: usize = 2;

/// The moves from the start to a state, by their numbers.
type Path = Vec<u8>;

/// How far a search came.
#[derive(Debug, Default)]
pub(crate) struct Reached {
    pub(crate) depth: usize,
    pub(crate) states: usize,
    pub(crate) steps: usize,
}

/// The shortest way to something that must not be.
#[derive(Debug)]
pub(crate) struct Broken {
    pub(crate) moves: Vec<Move>,
    pub(crate) why: String,
}

/// What one thread found beyond a part of the frontier.
#[derive(Default)]
struct Found {
    states: Vec<(u128, Path)>,
    steps: usize,
    broken: Option<(Path, String)>,
}

/// Searches all that these moves can bring about, to a depth.
///
/// # Errors
/// The shortest way to what must not be.
pub(crate) fn search(checked: Checked, moves: &[Move], depth: usize) -> Result<Reached, Broken> {
    let first = Node::first(checked);
    let mut visited = HashSet::from([key(&first, &mut String::new())]);
    let mut frontier = vec![Path::new()];
    let mut reached = Reached { states: 1, ..Reached::default() };
    while reached.depth < depth && !frontier.is_empty() {
        let part = frontier.len().div_ceil(THREADS);
        let found: Vec<Found> = thread::scope(|scope| {
            let work = |paths| expand(&first, moves, paths, &visited);
            let threads: Vec<_> =
                frontier.chunks(part).map(|paths| scope.spawn(move || work(paths))).collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        frontier = Vec::new();
        for found in found {
            if let Some((path, why)) = found.broken {
                let moves = path.iter().map(|index| moves[usize::from(*index)]).collect();
                return Err(Broken { moves, why });
            }
            reached.steps += found.steps;
            for (key, path) in found.states {
                if visited.insert(key) {
                    frontier.push(path);
                }
            }
        }
        reached.depth += 1;
        reached.states = visited.len();
    }
    Ok(reached)
}

fn expand(first: &Node, moves: &[Move], paths: &[Path], visited: &HashSet<u128>) -> Found {
    let mut found = Found::default();
    let (mut new, mut text) = (HashSet::new(), String::new());
    for path in paths {
        let mut node = first.clone();
        for index in path {
            let _ = node.step(moves[usize::from(*index)]);
        }
        for (index, one) in (0u8..).zip(moves) {
            let mut next = node.clone();
            let Some(outcome) = next.step(*one) else { continue };
            found.steps += 1;
            let longer = || path.iter().copied().chain([index]).collect();
            if let Err(why) = outcome {
                found.broken = Some((longer(), why));
                return found;
            }
            let key = key(&next, &mut text);
            if !visited.contains(&key) && new.insert(key) {
                found.states.push((key, longer()));
            }
        }
    }
    found
}
