//! Made-up patterns of use. None is a random walk: orders arrive, pile up, and are worked off day
//! by day as far as capacity goes.

use super::plant::{LENGTH, Plant};
use super::random::Random;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pattern {
    Steady,
    Weekly,
    Campaigns,
    Sparse,
    Rising,
    Falling,
    Step,
    Pauses,
    Siblings,
    Concession,
    Washes,
}

impl Pattern {
    pub const ALL: [Self; 11] = [
        Self::Steady,
        Self::Weekly,
        Self::Campaigns,
        Self::Sparse,
        Self::Rising,
        Self::Falling,
        Self::Step,
        Self::Pauses,
        Self::Siblings,
        Self::Concession,
        Self::Washes,
    ];

    pub fn words(self) -> &'static str {
        match self {
            Self::Steady => "steady: an order on most days",
            Self::Weekly => "weekly: one or two fixed weekdays",
            Self::Campaigns => "campaigns: bursts of days, then none",
            Self::Sparse => "sparse: an order every 5 to 20 production days",
            Self::Rising => "rising, up to fourfold over its life",
            Self::Falling => "falling, down to a third",
            Self::Step => "a step to 0.4 to 2.5 times, before or after today",
            Self::Pauses => "pauses of 3 to 9 weeks",
            Self::Siblings => "2 to 4 share a product, one leaves, before or after today",
            Self::Concession => "under a concession, some with a last day",
            Self::Washes => "washes are rated too",
        }
    }
}

/// One stencil's demand, in strokes, on a production day of its life.
pub struct Demand {
    pattern: Pattern,
    /// Strokes a production day in the long run.
    mean: f64,
    /// Production days it should last.
    life: f64,
    /// Strokes that one day can make.
    capacity: f64,
    /// How likely an order is on a production day.
    orders: f64,
    /// Scatter of order sizes.
    sigma: f64,
    /// What changes over life, and by how much.
    turn: f64,
    factor: f64,
    /// Weekdays of use, for weekly.
    weekday: [usize; 2],
    /// Production days until the present run or gap ends.
    until: f64,
    running: bool,
    run: f64,
    gap: f64,
    backlog: f64,
}

impl Demand {
    pub fn new(pattern: Pattern, random: &mut Random) -> Self {
        let mean = random.magnitude(20.0, 1_500.0);
        let (run, gap) = match pattern {
            Pattern::Campaigns => (random.between(3.0, 12.0), random.between(8.0, 30.0)),
            Pattern::Pauses => (random.between(40.0, 90.0), random.between(15.0, 45.0)),
            _ => (f64::INFINITY, 0.0),
        };
        let share_on = if gap > 0.0 { run / (run + gap) } else { 1.0 };
        let orders = match pattern {
            Pattern::Steady => random.between(0.5, 0.95),
            Pattern::Sparse => 1.0 / random.between(5.0, 20.0),
            Pattern::Campaigns => 0.9,
            _ => random.between(0.15, 0.8),
        };
        let factor = match pattern {
            Pattern::Step => random.magnitude(0.4, 2.5),
            Pattern::Rising => random.between(1.5, 4.0),
            _ => 1.0,
        };
        Self {
            pattern,
            mean,
            life: random.magnitude(80.0, 700.0),
            capacity: mean / share_on * random.between(2.0, 10.0),
            orders,
            sigma: random.between(0.3, 0.9),
            turn: random.between(0.1, 0.9),
            factor,
            weekday: [random.pick(0, 5), random.pick(0, 5)],
            until: 0.0,
            running: false,
            run,
            gap,
            backlog: 0.0,
        }
    }

    /// The strokes that use up a life.
    pub fn life_strokes(&self) -> f64 {
        self.mean * self.life
    }

    /// The strokes ordered on the `nth` production day, which is a `weekday`.
    fn ordered(&mut self, nth: f64, weekday: usize, random: &mut Random) -> f64 {
        if nth >= self.until {
            self.running = !self.running;
            self.until =
                nth + if self.running { random.wait(self.run) } else { random.wait(self.gap) };
        }
        let age = nth / self.life;
        let trend = match self.pattern {
            Pattern::Rising => 0.5 + (self.factor - 1.0) * 0.5 * (age / self.turn).min(1.5),
            Pattern::Falling => (-age / self.turn).exp().max(0.33) * 1.5,
            Pattern::Step if age > self.turn => self.factor,
            _ => 1.0,
        };
        let per_day = self.mean * trend * (self.run + self.gap).min(1e9) / self.run.min(1e9);
        if self.pattern == Pattern::Weekly {
            let due = self.weekday.contains(&weekday) && random.chance(0.9);
            return if due { per_day * 3.0 * random.around_one(self.sigma) } else { 0.0 };
        }
        if self.running && random.chance(self.orders) {
            per_day / self.orders * random.around_one(self.sigma)
        } else {
            0.0
        }
    }

    /// Strokes made on the `nth` production day.
    fn made(&mut self, nth: f64, weekday: usize, busy: f64, random: &mut Random) -> f64 {
        self.backlog += self.ordered(nth, weekday, random);
        let made = self.backlog.min(self.capacity * busy).floor();
        self.backlog -= made;
        made
    }

    /// Strokes made on each simulated day from `start` on.
    pub fn strokes(&mut self, plant: &Plant, start: usize, random: &mut Random) -> Vec<f64> {
        let mut nth = 0.0;
        let day = |day: usize| {
            if day < start || !plant.open[day] {
                return 0.0;
            }
            nth += 1.0;
            self.made(nth - 1.0, day % 7, plant.busy[day % 7], random)
        };
        (0..LENGTH).map(day).collect()
    }
}
