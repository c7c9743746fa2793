//! Made-up plants: weekday patterns, public holidays, shutdowns and stops that nobody announced.

use super::random::Random;
use stencilward_reports::forecast::Day;

/// The first simulated day, some Monday.
pub const START: Day = Day(18_260);
/// Simulated days.
pub const LENGTH: usize = 16 * 365;

pub struct Plant {
    /// Whether the plant works, for each simulated day.
    pub open: Vec<bool>,
    /// The days off that it announces.
    pub announced: Vec<Day>,
    /// How busy each weekday is.
    pub busy: [f64; 7],
}

impl Plant {
    pub fn new(random: &mut Random) -> Self {
        let mut plant = Self { open: Vec::new(), announced: Vec::new(), busy: [1.0; 7] };
        let at_work = plant.weekdays(random);
        plant.open = (0..LENGTH).map(|day| random.chance(at_work[day % 7])).collect();
        let announces = random.chance(0.5);
        let holidays: Vec<usize> = (0..10).map(|_| random.pick(0, 365)).collect();
        let summer = random.pick(180, 230);
        for year in 0..LENGTH / 365 {
            let at = |day: usize| year * 365 + day;
            let mut off: Vec<usize> = holidays.iter().map(|day| at(*day)).collect();
            let first = at(summer + random.pick(0, 7));
            off.extend(first..first + random.pick(10, 24));
            off.extend(at(358)..at(365) + random.pick(1, 4));
            off.retain(|day| *day < LENGTH);
            off.iter().for_each(|day| plant.open[*day] = false);
            if announces {
                plant.announced.extend(off.iter().map(|day| START.plus(*day as i32)));
            }
            for _ in 0..random.pick(0, 3) {
                let stop = at(random.pick(0, 355));
                plant.open[stop..stop + random.pick(1, 6)].fill(false);
            }
        }
        plant
    }

    fn weekdays(&mut self, random: &mut Random) -> [f64; 7] {
        let (saturday, sunday) = match random.pick(0, 5) {
            0 | 1 => (0.0, 0.0),
            2 => (0.3, 0.0),
            3 => (1.0, 0.0),
            _ => (1.0, 1.0),
        };
        self.busy = std::array::from_fn(|_| random.between(0.5, 1.5));
        self.busy[6] *= random.between(0.2, 1.0);
        [1.0, 1.0, 1.0, 1.0, random.between(0.7, 1.0), saturday, sunday]
    }

    /// The days before `today` on which it worked.
    pub fn worked_before(&self, today: usize) -> Vec<Day> {
        let days = (0..today).filter(|day| self.open[*day]);
        days.map(|day| START.plus(day as i32)).collect()
    }
}
