//! Mixed models against published data sets, a general statistics library, and made-up sets of known truth.

use std::path::Path;

use backwatt_stats::mixed::{Design, Fit, Grouping, Unfit, fit};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use serde_json::Value;

/// Relative to the standard error, or to the value itself: the library's optimiser stops at about this.
const AGREES: f64 = 2e-5;

struct Reference {
    design: Design,
    found: Value,
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|v| v.as_f64().expect("a number")).collect()
}

fn reference(name: &str) -> Reference {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/mixed").join(format!("{name}.json"));
    let text = std::fs::read_to_string(path).expect("the fixture");
    let found: Value = serde_json::from_str(&text).expect("JSON");
    let list = |key: &str| found[key].as_array().expect("a list").clone();
    let response = numbers(&found["response"]);
    let groups = list("groups")
        .iter()
        .map(|group| {
            let level: Vec<usize> = numbers(&group["row"]).iter().map(|level| *level as usize).collect();
            Grouping { levels: level.iter().max().map_or(0, |most| most + 1), level }
        })
        .collect();
    let design = Design {
        known_variance: vec![0.0; response.len()],
        weight: numbers(&found["weights"]),
        fixed: list("fixed").iter().map(numbers).collect(),
        response,
        groups,
    };
    Reference { design, found }
}

fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found} and not {expected} ± {tolerance}");
}

fn unit(at: usize) -> Vec<f64> {
    (0..=at).map(|i| if i == at { 1.0 } else { 0.0 }).collect()
}

fn agrees_with_the_library(name: &str) {
    let Reference { design, found } = reference(name);
    let fit = fit(&design).expect("a fit");
    let residual = found["residual"].as_f64().expect("a number");
    near(&format!("{name} residual"), fit.residual, residual, AGREES * residual);
    for (ours, theirs) in fit.variance.iter().zip(found["variance"].as_array().expect("a list")) {
        let theirs = theirs.as_f64().expect("a number");
        near(&format!("{name} variance"), *ours, theirs, 10.0 * AGREES * theirs.max(1e-3 * residual));
    }
    near(name, fit.minus_two_log, found["reml"].as_f64().expect("a number"), 1e-6);
    for (at, theirs) in found["contrasts"].as_array().expect("a list").iter().enumerate() {
        let ours = fit.contrast(&unit(at), &[]);
        let number = |key: &str| theirs[key].as_f64();
        let se = number("se").expect("a number");
        near(
            &format!("{name} coefficient {at}"),
            ours.value,
            number("estimate").expect("a number"),
            AGREES * se,
        );
        near(&format!("{name} error {at}"), ours.standard_error_plain, se, AGREES * se);
        if let (Some(adjusted), Some(degrees)) = (number("se_adjusted"), number("degrees")) {
            near(&format!("{name} wider error {at}"), ours.standard_error, adjusted, AGREES * adjusted);
            near(&format!("{name} degrees {at}"), ours.degrees, degrees, 10.0 * AGREES * degrees);
        }
    }
    for (group, theirs) in found["effects"].as_array().expect("a list").iter().enumerate() {
        for (ours, theirs) in fit.levels(group).iter().zip(numbers(theirs)) {
            near(&format!("{name} level of {group}"), *ours, theirs, AGREES * residual.sqrt());
        }
    }
}

/// Balanced, nested, split, crossed; unbalanced and crossed, with weights and without; a variance at its bound.
#[test]
fn agrees_with_a_general_library() {
    for name in
        ["dyestuff", "dyestuff2", "penicillin", "unbalanced", "weighted", "oats", "ergometer", "sleepstudy"]
    {
        agrees_with_the_library(name);
    }
}

/// Standard deviations as printed by Bates et al. (2015), Pinheiro and Bates (2000, section 1.2) and Venables and Ripley
/// (2002, section 10.2).
#[test]
fn printed_in_books_and_papers() {
    let deviations = |name: &str| -> Vec<f64> {
        let design = reference(name).design;
        let fit = fit(&design).expect("a fit");
        fit.variance.iter().chain([&fit.residual]).map(|variance| variance.sqrt()).collect()
    };
    let printed = [
        ("dyestuff", vec![42.00, 49.51]),
        ("penicillin", vec![0.847, 1.932, 0.550]),
        ("ergometer", vec![1.332, 1.100]),
        ("oats", vec![11.00, 14.51, 12.87]),
    ];
    for (name, expected) in printed {
        let found = deviations(name);
        for (found, expected) in found.iter().zip(&expected) {
            near(name, *found, *expected, 0.006 * expected.max(0.1));
        }
    }
}

/// Known variances of no size change nothing, and large ones take their rows out.
#[test]
fn rows_of_known_variance() {
    let Reference { mut design, .. } = reference("unbalanced");
    let before = fit(&design).expect("a fit").contrast(&unit(0), &[]);
    let rows = design.rows();
    design.known_variance = vec![1e-9; rows];
    let same = fit(&design).expect("a fit").contrast(&unit(0), &[]);
    near("value", same.value, before.value, 1e-5);
    near("error", same.standard_error, before.standard_error, 1e-5);
    near("degrees", same.degrees, before.degrees, 1e-3);

    let dropped: Vec<usize> = (0..rows).step_by(4).collect();
    let mut without = design.clone();
    for list in [&mut without.response, &mut without.weight, &mut without.known_variance] {
        *list = kept(list, &dropped);
    }
    without.fixed = without.fixed.iter().map(|column| kept(column, &dropped)).collect();
    without.groups.iter_mut().for_each(|group| group.level = kept(&group.level, &dropped));
    dropped.iter().for_each(|row| design.known_variance[*row] = 1e9);
    let (unsure, gone) = (fit(&design).expect("a fit"), fit(&without).expect("a fit"));
    near("residual", unsure.residual, gone.residual, 1e-5);
    let (unsure, gone) = (unsure.contrast(&unit(1), &[]), gone.contrast(&unit(1), &[]));
    near("value", unsure.value, gone.value, 1e-5);
    near("error", unsure.standard_error, gone.standard_error, 1e-5);
    near("degrees", unsure.degrees, gone.degrees, 1e-3 * gone.degrees);
}

fn kept<T: Copy>(list: &[T], dropped: &[usize]) -> Vec<T> {
    list.iter().enumerate().filter(|(row, _)| !dropped.contains(row)).map(|(_, value)| *value).collect()
}

/// One grouping, known variances: the levels are the textbook's shrunken means.
#[test]
fn a_level_keeps_its_share_of_its_distance() {
    let Reference { design, .. } = reference("dyestuff");
    let fit = fit(&design).expect("a fit");
    let mean = fit.coefficients()[0];
    let kept = fit.variance[0] / (fit.variance[0] + fit.residual / 5.0);
    for (batch, level) in fit.levels(0).iter().enumerate() {
        let own: f64 = design.response[5 * batch..5 * batch + 5].iter().sum::<f64>() / 5.0;
        near("level", *level, kept * (own - mean), 1e-6);
        let plain = fit.contrast(&[], &[(0, batch, 1.0)]);
        near("prediction", plain.value, *level, 1e-9);
        // Prediction error: what shrinking leaves, and what the mean leaves open of it.
        let expected = fit.variance[0] * (1.0 - kept)
            + kept.powi(2) * fit.contrast(&[1.0], &[]).standard_error_plain.powi(2);
        near("error", plain.standard_error_plain.powi(2), expected, 1e-3);
    }
}

/// Balanced, so that least squares are plain means: two of five rows each differ with the error of both.
#[test]
fn unshrunken_levels_are_plain_means() {
    let Reference { design, .. } = reference("dyestuff");
    let fit = fit(&design).expect("a fit");
    let mean = |batch: usize| design.response[5 * batch..5 * batch + 5].iter().sum::<f64>() / 5.0;
    let pair = [vec![(4, 1.0), (5, -1.0)]];
    let (value, error) = fit.unshrunken(&[0], &pair).expect("solved")[0];
    near("difference", value, mean(4) - mean(5), 0.01);
    near("error", error, (2.0 * fit.residual / 5.0).sqrt(), 0.01);

    // A second grouping that is the first under another name: nothing tells them apart.
    let mut twice = design.clone();
    twice.groups.push(design.groups[0].clone());
    let fit = backwatt_stats::mixed::fit(&twice).expect("a fit");
    let (_, error) = fit.unshrunken(&[0, 1], &pair).expect("solved")[0];
    assert!(error > 50.0 * fit.residual.sqrt(), "{error}");
}

#[test]
fn what_cannot_be_fitted_is_refused() {
    let ok = reference("dyestuff").design;
    let mut twin = ok.clone();
    twin.fixed.push(vec![2.0; 30]);
    let mut torn = ok.clone();
    torn.weight.pop();
    let mut far = ok.clone();
    far.groups[0].level[3] = 6;
    let mut hole = ok.clone();
    hole.response[3] = f64::NAN;
    let flat = Design { response: vec![1.0; 30], ..ok.clone() };
    let none = Design {
        fixed: vec![vec![1.0]],
        response: vec![1.0],
        weight: vec![1.0],
        known_variance: vec![0.0],
        groups: vec![],
    };
    let faults = [&twin, &torn, &far, &hole, &flat, &none].map(|design| fit(design).map(|_| ()).unwrap_err());
    let expected = [
        Unfit::Dependent,
        Unfit::Malformed,
        Unfit::Malformed,
        Unfit::Malformed,
        Unfit::Diverged,
        Unfit::TooFewRows,
    ];
    assert_eq!(faults, expected);
}

/// A made-up crossed set: each row has one level of each grouping, drawn with a fondness for a few.
struct Made {
    design: Design,
    effects: Vec<Vec<f64>>,
}

fn made(seed: u64, rows: usize, levels: &[usize], deviations: &[f64], noise: f64) -> Made {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let effects: Vec<Vec<f64>> = levels
        .iter()
        .zip(deviations)
        .map(|(levels, deviation)| (0..*levels).map(|_| deviation * normal(&mut rng)).collect())
        .collect();
    let mut groups: Vec<Grouping> =
        levels.iter().map(|levels| Grouping { levels: *levels, level: Vec::new() }).collect();
    let (mut response, mut covariate, mut weight) = (Vec::new(), Vec::new(), Vec::new());
    for row in 0..rows {
        let x: f64 = normal(&mut rng);
        let w: f64 = rng.random_range(0.5..2.0);
        let mut y = 3.0 + 0.5 * x + noise * normal(&mut rng) / w.sqrt();
        for (group, effects) in groups.iter_mut().zip(&effects) {
            // Mostly from a home that goes with the row, sometimes from anywhere.
            let anywhere = rng.random::<f64>() < 0.4;
            let level = if anywhere { rng.random_range(0..group.levels) } else { row * group.levels / rows };
            y += effects[level];
            group.level.push(level);
        }
        response.push(y);
        covariate.push(x);
        weight.push(w);
    }
    let known_variance = vec![0.0; rows];
    let design = Design { response, fixed: vec![vec![1.0; rows], covariate], groups, weight, known_variance };
    Made { design, effects }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Share of made-up sets whose 90 % interval holds the truth, for the mean of few levels and for one coefficient.
#[test]
fn coefficients_are_covered_as_often_as_said() {
    let sets = 300;
    let (mut mean, mut slope, mut pair) = (0, 0, 0);
    for seed in 0..sets {
        let made = made(seed, 60, &[5, 4, 12], &[1.0, 0.6, 0.4], 1.0);
        let fit = fit(&made.design).expect("a fit");
        let covers = |fixed: &[f64], truth: f64| {
            let found = fit.contrast(fixed, &[]);
            (found.value - truth).abs() <= found.half_width(0.9).expect("degrees")
        };
        mean += u64::from(covers(&[1.0], 3.0));
        slope += u64::from(covers(&[0.0, 1.0], 0.5));
        let found = fit.contrast(&[], &[(0, 0, 1.0), (0, 1, -1.0)]);
        let truth = made.effects[0][0] - made.effects[0][1];
        pair += u64::from(found.half_width(0.9).is_some_and(|half| (found.value - truth).abs() <= half));
    }
    println!("of {sets}: mean {mean}, slope {slope}, pair of levels {pair}");
    // 270 expected, standard deviation 5.2.
    assert!((255..=288).contains(&mean) && (255..=285).contains(&slope), "{mean} {slope}");
    // A variance estimated as nothing leaves no degrees of freedom: those sets are not covered, and say so.
    assert!(pair > 240, "{pair}");
}

/// The same of the levels, by draws: with a variance that is easily estimated as nothing, too. Over 400 sets the shares are
/// 0.893, 0.876 and 0.941: draws from a posterior are right on the mean over truths, not at each.
#[test]
fn levels_are_covered_as_often_as_said() {
    for deviation in [1.0, 0.35, 0.15] {
        let (sets, drivers) = (60_u64, 8);
        let mut covered = 0;
        for seed in 0..sets {
            let made = made(1000 + seed, 80, &[drivers, 5, 20], &[deviation, 0.5, 0.3], 1.0);
            let fit = fit(&made.design).expect("a fit");
            let draws = fit.draws(0, seed, 2000);
            assert_eq!(draws.len(), 2000);
            let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len() as f64;
            for level in 0..drivers {
                let mut own: Vec<f64> = draws.iter().map(|draw| draw[level] - mean(draw)).collect();
                own.sort_by(f64::total_cmp);
                let truth = made.effects[0][level] - mean(&made.effects[0]);
                covered += u64::from(own[100] <= truth && truth <= own[1899]);
            }
        }
        let share = covered as f64 / (sets * drivers as u64) as f64;
        println!("deviation {deviation}: {share:.3} of the levels inside their 90 % intervals");
        // Levels of one set share their errors: twice the binomial 0.0137, twice over.
        assert!((0.84..=0.965).contains(&share), "{deviation}: {share}");
    }
}

#[test]
fn the_same_seed_draws_the_same() {
    let design = made(1, 60, &[5, 4], &[1.0, 0.5], 1.0).design;
    let fit: Fit<'_> = fit(&design).expect("a fit");
    assert_eq!(fit.draws(0, 9, 50), fit.draws(0, 9, 50));
    assert_ne!(fit.draws(0, 9, 50), fit.draws(0, 10, 50));
}

/// Five thousand rows, three hundred levels. In release about 0.2 s; the bound is for a slow machine.
#[test]
fn a_large_set_is_quick() {
    let made = made(5, 5000, &[60, 40, 20, 180], &[0.5, 0.3, 0.4, 0.2], 1.0);
    let start = std::time::Instant::now();
    let fit = fit(&made.design).expect("a fit");
    let fitted = start.elapsed();
    let draws = fit.draws(0, 1, 1000).len();
    println!("fit {fitted:?}, {draws} draws {:?}", start.elapsed() - fitted);
    for (found, truth) in fit.variance.iter().zip([0.5_f64, 0.3, 0.4, 0.2]) {
        assert!((0.6..1.6).contains(&(found.sqrt() / truth)), "{:?}", fit.variance);
    }
}
