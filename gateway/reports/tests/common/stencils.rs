//! Made-up stencils somewhere in their lives, with the date that came true.

use super::patterns::{Demand, Pattern};
use super::plant::{LENGTH, Plant, START};
use super::random::Random;
use stencilward_reports::forecast::{Calendar, Concession, Day, Life, Usage};

/// One stencil on the day of its forecast, and what came of it.
pub struct Case {
    pub pattern: Pattern,
    pub usage: Usage,
    /// The plant's production days so far.
    pub worked: Vec<Day>,
    pub calendar: Calendar,
    /// The day on which it was stopped.
    pub truth: Day,
}

/// So many plants, each with one stencil of each pattern.
pub fn cases(seed: u64, plants: usize) -> Vec<Case> {
    let mut random = Random::new(seed);
    let mut cases = Vec::new();
    for _ in 0..plants {
        let plant = Plant::new(&mut random);
        for pattern in Pattern::ALL {
            let drawn = std::iter::repeat_with(|| case(pattern, &plant, &mut random));
            cases.extend(drawn.take(100).flatten().next());
        }
    }
    cases
}

/// None when it outlives the simulation, or is at its end on the day of the forecast.
fn case(pattern: Pattern, plant: &Plant, random: &mut Random) -> Option<Case> {
    let start = random.pick(0, 400);
    let mut demand = Demand::new(pattern, random);
    let mut made = demand.strokes(plant, start, random);
    let rated = demand.life_strokes();
    let mut sharing = Vec::new();
    if pattern == Pattern::Siblings {
        sharing = share_out(&mut made, start, rated, random);
    }
    let limit = 0.99 * rated;
    let conceded = match pattern {
        Pattern::Concession => rated * random.between(0.05, 0.5),
        _ => 0.0,
    };
    let granted_at = if conceded > 0.0 { limit } else { 0.0 };
    let used_part = random.between(0.25, 0.75);
    let asked = granted_at + used_part * (limit + conceded - granted_at);
    let today = first_day(&made, asked)? + random.pick(1, 20);
    let mut truth = first_day(&made, limit.ceil() + conceded.ceil())?;

    let washes = (pattern == Pattern::Washes).then(|| washed(&made, random));
    let washes = washes.map(|washes| {
        let rated = washes[..truth].iter().sum::<f64>() * random.between(0.8, 1.25);
        truth = first_day(&washes, (0.99 * rated.ceil()).ceil()).unwrap_or(truth).min(truth);
        life(&washes, rated, today)
    });
    let until = (conceded > 0.0 && random.chance(0.3)).then(|| today + random.pick(5, 200));
    truth = until.map_or(truth, |until| until.min(truth));
    if today >= truth {
        return None;
    }
    let strokes = life(&made, rated, today);
    let concession = (conceded > 0.0).then(|| Concession {
        strokes_left: (limit.ceil() + conceded.ceil()) as u64 - strokes.used,
        until: until.map(day),
    });
    let usage = Usage { strokes, washes, sharing, concession, ..Usage::default() };
    let worked = plant.worked_before(today);
    let calendar = Calendar::new(day(today), &worked, &plant.announced);
    let truth = day(truth);
    Some(Case { pattern, usage, worked, calendar, truth })
}

fn day(index: usize) -> Day {
    START.plus(index as i32)
}

/// The first day at whose end so much is used.
fn first_day(made: &[f64], amount: f64) -> Option<usize> {
    let mut sum = 0.0;
    made.iter().position(|made| {
        sum += made;
        sum >= amount
    })
}

/// What is known of a life on the morning of `today`.
fn life(made: &[f64], rated: f64, today: usize) -> Life {
    let past = made[..today].iter().enumerate().filter(|(_, made)| **made > 0.0);
    let daily: Vec<(Day, i64)> = past.map(|(at, made)| (day(at), *made as i64)).collect();
    let used = daily.iter().map(|(_, made)| made.unsigned_abs()).sum();
    Life { rated: rated.ceil() as u64, used, daily }
}

/// A wash after most days of use, and some for no reason.
fn washed(made: &[f64], random: &mut Random) -> Vec<f64> {
    let likely = random.between(0.6, 1.0);
    let washes = made.iter().map(|made| {
        let due = *made > 0.0 && random.chance(likely);
        f64::from(u8::from(due)) + f64::from(u8::from(random.chance(0.01)))
    });
    washes.collect()
}

/// Leaves this stencil its days of a product that several share: each day's work goes to one of
/// those in service. One of the others leaves, and is replaced after a while or never.
fn share_out(made: &mut [f64], start: usize, rated: f64, random: &mut Random) -> Vec<(Day, u32)> {
    let all = random.pick(2, 5) as u32;
    let alone = first_day(made, rated).unwrap_or(LENGTH).saturating_sub(start);
    let left = start + (alone as f64 * random.between(0.1, 1.0)) as usize * all as usize;
    let back = if random.chance(0.5) { left + random.pick(20, 90) } else { LENGTH };
    for (at, made) in made.iter_mut().enumerate() {
        let others = if (left..back).contains(&at) { all - 2 } else { all - 1 };
        if random.pick(0, others as usize + 1) > 0 {
            *made = 0.0;
        }
    }
    vec![(day(0), all), (day(left.min(LENGTH)), all - 1), (day(back), all)]
}
