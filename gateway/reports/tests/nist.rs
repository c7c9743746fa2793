//! Regression and its intervals against NIST's certified values and an independent library.

use std::fs;
use std::path::Path;

use stencilward_reports::statistics::{About, Interval, Line, Origin, Scatter, two_sided};

/// What the certified values must be met to, relative.
const CERTIFIED: f64 = 1e-10;

/// The points of a fixture.
fn points(name: &str) -> Vec<(f64, f64)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures");
    let text = fs::read_to_string(folder.join(name)).expect("the fixture can be read");
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|row| row.split_once(',').expect("two columns"))
        .map(|(x, y)| (x.parse().expect("a number"), y.parse().expect("a number")))
        .collect()
}

fn norris() -> Line {
    let points = points("norris.csv");
    assert_eq!(points.len(), 36);
    Line::fit(&points).expect("a line")
}

fn noint1() -> Origin {
    let points = points("noint1.csv");
    assert_eq!(points.len(), 11);
    Origin::fit(&points, Scatter::Constant).expect("a line")
}

#[track_caller]
fn same(ours: f64, theirs: f64, relative: f64) {
    assert!((ours / theirs - 1.0).abs() <= relative, "{ours:.15} is not {theirs:.15}");
}

/// Values printed with ten decimals: half a unit of the last, and the accuracy of the rest.
#[track_caller]
fn printed(ours: Option<Interval>, low: f64, high: f64) {
    let ours = ours.expect("an interval");
    for (ours, theirs) in [(ours.low, low), (ours.high, high)] {
        assert!((ours - theirs).abs() <= 0.5001e-10 + 1e-13 * theirs.abs(), "{ours:.12} {theirs}");
    }
}

/// NIST StRD, Norris, certified values.
#[test]
fn norris_as_certified() {
    let line = norris();
    same(line.intercept, -0.262_323_073_774_029, CERTIFIED);
    same(line.intercept_sd, 0.232_818_234_301_152, CERTIFIED);
    same(line.slope, 1.002_116_818_020_45, CERTIFIED);
    same(line.slope_sd, 4.297_968_481_999_37e-4, CERTIFIED);
    same(line.residual_sd, 0.884_796_396_144_373, CERTIFIED);
    same(line.r_squared, 0.999_993_745_883_712, CERTIFIED);
    let f = (line.slope / line.slope_sd).powi(2);
    same(f, 5_436_385.540_797_85, CERTIFIED);
    same(34.0 * line.residual_sd.powi(2), 26.617_398_529_422_4, CERTIFIED);
}

/// NIST StRD, NoInt1, certified values.
#[test]
fn noint1_as_certified() {
    let line = noint1();
    same(line.slope, 2.074_380_165_289_26, CERTIFIED);
    same(line.slope_sd, 0.016_528_925_619_834_7, CERTIFIED);
    same(line.residual_sd, 3.567_530_340_063_38, CERTIFIED);
    same(line.r_squared, 0.999_365_492_298_663, CERTIFIED);
}

/// statsmodels 0.15.0 on Norris, two-sided 95 %: mean response and one further observation.
#[test]
fn intervals_on_norris() {
    let line = norris();
    for (x, height, sd, mean, observation) in [
        (
            0.0,
            -0.262_323_073_774_0,
            0.232_818_234_301_2,
            (-0.735_466_652_1, 0.210_820_504_6),
            (-2.121_653_543_3, 1.597_007_395_7),
        ),
        (
            500.0,
            500.796_085_936_453,
            0.151_502_175_800_2,
            (500.488_196_471_5, 501.103_975_401_4),
            (498.971_794_054_2, 502.620_377_818_7),
        ),
        (
            1000.0,
            1_001.854_494_946_68,
            0.289_938_189_417_2,
            (1_001.265_269_653_2, 1_002.443_720_240_2),
            (999.962_292_157_5, 1_003.746_697_735_9),
        ),
        (
            1200.0,
            1_202.277_858_550_77,
            0.366_565_407_189_4,
            (1_201.532_908_014_7, 1_203.022_809_086_8),
            (1_200.331_529_634_6, 1_204.224_187_467_0),
        ),
    ] {
        same(line.at(x), height, 1e-11);
        same(line.mean_sd(x), sd, 1e-11);
        printed(line.interval(x, About::Mean, 0.95), mean.0, mean.1);
        printed(line.interval(x, About::Observation, 0.95), observation.0, observation.1);
    }
}

/// statsmodels 0.15.0 on Norris; the inverse ends also by finding the roots of its interval with
/// scipy 1.17.1's brentq.
#[test]
fn slope_and_inverse_prediction_on_norris() {
    let line = norris();
    same(two_sided(0.95, 34.0).expect("a quantile"), 2.032_244_509_317_718_6, 1e-12);
    let slope = line.slope_interval(0.95).expect("an interval");
    same(slope.low, 1.001_243_365_735_577_5, 1e-12);
    same(slope.high, 1.002_990_270_305_330_4, 1e-12);
    same(line.inverse(1500.0), 1_497.093_249_105_8, 1e-13);
    let inverse = |about| line.inverse_interval(1500.0, about, 0.95);
    printed(inverse(About::Mean), 1_496.108_101_173_0, 1_498.080_034_822_8);
    printed(inverse(About::Observation), 1_495.046_695_795_8, 1_499.141_440_200_0);
}

/// For y = b x, Fieller's interval of the mean is y over the ends of the slope's interval. The
/// t(0.975, 10) is scipy 1.17.1's.
#[test]
fn inverse_prediction_on_noint1() {
    let line = noint1();
    let t = 2.228138851986274;
    let inverse = line.inverse_interval(300.0, About::Mean, 0.95).expect("an interval");
    same(inverse.low, 300.0 / (line.slope + t * line.slope_sd), 1e-12);
    same(inverse.high, 300.0 / (line.slope - t * line.slope_sd), 1e-12);
    let one = line.inverse_interval(300.0, About::Observation, 0.95).expect("an interval");
    for (x, side) in [(one.low, 1.0), (one.high, -1.0)] {
        let half = t * line.residual_sd.hypot(x * line.slope_sd);
        same(line.slope * x + side * half, 300.0, 1e-12);
    }
}
