//! Windows that take more than one attribute to judge: cure cycles, ply shares, lightning build-ups.

use super::delta::number;
use crate::article::Part;
use crate::quantity::Decimal;
use crate::record::AttributeValue;

/// One segment of a cycle as configurations write it.
#[derive(Debug, Clone, PartialEq)]
struct Segment {
    ramp: Option<Decimal>,
    to: Option<Decimal>,
    hold: Option<Decimal>,
}

fn segments(value: Option<&AttributeValue>) -> Vec<Segment> {
    let Some(value) = value else { return Vec::new() };
    value
        .texts()
        .filter(|text| !matches!(*text, "none" | "unstated"))
        .map(|text| {
            let (ramp, rest) = text.split_once("to ").unwrap_or(("", text));
            let (to, hold) = rest.split_once(" for ").unwrap_or((rest, ""));
            let read = |text: &str| number(text.trim()).map(|(value, _)| value);
            Segment { ramp: read(ramp), to: read(to), hold: read(hold) }
        })
        .collect()
}

fn decimal(text: &str) -> Decimal {
    Decimal::parse(text).unwrap_or_else(Decimal::zero)
}

/// Equal, or not recorded, or unstated when conformed (which is judged by itself).
fn alike(now: Part<'_>, then: Part<'_>, base: &str) -> bool {
    match then.nominal(base) {
        None => true,
        Some(was) => was.is_unstated() || now.nominal(base) == Some(was),
    }
}

/// Pressure, vacuum and the like: not lower than conformed.
fn not_lower(now: Part<'_>, then: Part<'_>, base: &str) -> bool {
    if alike(now, then, base) {
        return true;
    }
    match (now.text(base).and_then(number), then.text(base).and_then(number)) {
        (Some((is, _)), Some((was, _))) => is >= was,
        _ => false,
    }
}

fn cycle_inside(now: Part<'_>, then: Part<'_>, base: &str) -> bool {
    if alike(now, then, base) {
        return true;
    }
    let (is, was) = (segments(now.nominal(base)), segments(then.nominal(base)));
    is.len() == was.len()
        && is.iter().zip(&was).all(|(is, was)| {
            let near = match (&is.to, &was.to) {
                (Some(is), Some(was)) => (is - was).abs() <= decimal("5"),
                (is, was) => is == was,
            };
            let held = match (&is.hold, &was.hold) {
                (Some(is), Some(was)) => is >= was,
                (None, None) | (Some(_), None) => true,
                (None, Some(_)) => false,
            };
            let ramped = is.ramp == was.ramp
                || is.ramp.as_ref().is_some_and(|ramp| *ramp >= decimal("0.5") && *ramp <= decimal("3"));
            near && held && ramped
        })
}

/// The cure is inside the window: the same cycle but for small steps.
pub fn w3(now: Part<'_>, then: Part<'_>) -> bool {
    let bleed = alike(now, then, "cure.bleed")
        || match (now.text("cure.bleed").and_then(number), then.text("cure.bleed").and_then(number)) {
            (Some((is, _)), Some((was, _))) => (&is - &was).abs() <= decimal("5"),
            _ => false,
        };
    alike(now, then, "cure.method")
        && alike(now, then, "cure.surface_preparation")
        && cycle_inside(now, then, "cure.cycle")
        && cycle_inside(now, then, "cure.postcure")
        && not_lower(now, then, "cure.pressure")
        && not_lower(now, then, "cure.vacuum")
        && bleed
}

/// The cure is near: the same route, no post-cure new or gone, the highest hold within 15 K.
pub fn w3_near(now: Part<'_>, then: Part<'_>) -> bool {
    let post = |part: Part<'_>| !segments(part.nominal("cure.postcure")).is_empty();
    let top = |part: Part<'_>| -> Option<Decimal> {
        segments(part.nominal("cure.cycle")).into_iter().filter_map(|segment| segment.to).max()
    };
    let highest = match (top(now), top(then)) {
        (Some(is), Some(was)) => (&is - &was).abs() <= decimal("15"),
        (is, was) => is == was,
    };
    alike(now, then, "cure.method")
        && alike(now, then, "cure.surface_preparation")
        && post(now) == post(then)
        && highest
}

/// What a stack of reinforcement comes to.
#[derive(Debug, Clone, PartialEq)]
struct Reinforcement {
    /// Shares of 0, +/-45, 90 and other, by fibre areal, in percent.
    shares: [Decimal; 4],
    /// Sum of fibre areal over fibre density.
    thickness: Decimal,
    /// For each core: whether plies lie on its tool side and on its other side.
    cores: Vec<(bool, bool)>,
}

struct Lay<'a> {
    letter: &'a str,
    angle: Option<&'a str>,
}

fn lays(part: Part<'_>) -> Option<Vec<Lay<'_>>> {
    let value = part.nominal("plies")?;
    Some(
        value
            .texts()
            .filter(|token| *token != "none")
            .map(|token| match token.split_once(' ') {
                Some((letter, angle)) => Lay { letter, angle: Some(angle.trim()) },
                None => Lay { letter: token, angle: None },
            })
            .collect(),
    )
}

fn of_letter(part: Part<'_>, base: &str, letter: &str) -> Option<Decimal> {
    match part.of(base, letter)? {
        AttributeValue::One(text) => number(text).map(|(value, _)| value),
        AttributeValue::List(_) => None,
    }
}

fn reinforcement(part: Part<'_>) -> Option<Reinforcement> {
    let lays = lays(part)?;
    let mut sums = [Decimal::zero(), Decimal::zero(), Decimal::zero(), Decimal::zero()];
    let mut total = Decimal::zero();
    let mut thickness = Decimal::zero();
    let mut cores = Vec::new();
    for (at, lay) in lays.iter().enumerate() {
        match lay.letter.chars().next()? {
            'a' => {
                let areal = of_letter(part, "fibre-areal", lay.letter)?;
                let density = of_letter(part, "fibre.density", lay.letter)?;
                let group = match lay.angle? {
                    "0" => 0,
                    "45" | "-45" => 1,
                    "90" => 2,
                    _ => 3,
                };
                if let Some(sum) = sums.get_mut(group) {
                    *sum = &*sum + &areal;
                }
                total = &total + &areal;
                thickness = &thickness + &areal.over(&density)?;
            }
            'c' => {
                let is_ply = |lay: &Lay<'_>| lay.letter.starts_with('a');
                let (before, after) = lays.split_at(at);
                cores.push((before.iter().any(is_ply), after.iter().any(is_ply)));
            }
            _ => {}
        }
    }
    let mut shares = Vec::with_capacity(4);
    for sum in sums {
        shares.push((&sum * &Decimal::whole(100)).over(&total).unwrap_or_else(Decimal::zero));
    }
    Some(Reinforcement { shares: shares.try_into().ok()?, thickness, cores })
}

fn least_and_most(values: impl Iterator<Item = Decimal> + Clone) -> Option<(Decimal, Decimal)> {
    Some((values.clone().min()?, values.max()?))
}

/// Ply shares within the tested range and five points, reinforcement thickness in the tested range.
///
/// `others` are the further articles tested.
pub fn w5(now: Part<'_>, then: Part<'_>, others: &[Part<'_>]) -> bool {
    let (Some(is), Some(main)) = (reinforcement(now), reinforcement(then)) else { return false };
    let tested: Vec<Reinforcement> = std::iter::once(main.clone())
        .chain(others.iter().filter_map(|other| reinforcement(*other)))
        .collect();
    if is.cores != main.cores {
        return false;
    }
    let points = decimal("5");
    let shares = is.shares.iter().enumerate().all(|(group, share)| {
        let values = tested.iter().filter_map(|one| one.shares.get(group).cloned());
        least_and_most(values)
            .is_some_and(|(least, most)| *share >= &least - &points && *share <= &most + &points)
    });
    let thickness = if tested.len() > 1 {
        least_and_most(tested.iter().map(|one| one.thickness.clone()))
            .is_some_and(|(least, most)| is.thickness >= least && is.thickness <= most)
    } else {
        within_tenth(&is.thickness, &main.thickness)
    };
    shares && thickness
}

/// One article only: within 10 %.
pub fn within_tenth(is: &Decimal, was: &Decimal) -> bool {
    (is - was).abs() <= &was.abs() * &decimal("0.1")
}

/// Lightning: the mesh no lighter, the dielectric over it no thicker, the laminate no thinner.
///
/// That the zone is covered is judged by coverage.
/// `partner` gives for a letter now the one as conformed.
pub fn w8<'a>(now: Part<'a>, then: Part<'a>, partner: impl Fn(&str) -> Option<&'a str>) -> bool {
    let film =
        match (now.text("film-build.max").and_then(number), then.text("film-build.max").and_then(number)) {
            (Some((is, _)), Some((was, _))) => is <= was,
            // Not recorded on either side: a duty on a laminate has no film.
            (None, None) => true,
            (Some(_), None) => true,
            (None, Some(_)) => false,
        };
    let (Some(mine), Some(theirs)) = (lays(now), lays(then)) else { return false };
    let mesh = |lays: &[Lay<'_>]| lays.iter().position(|lay| lay.letter.starts_with('m'));
    let (is_at, was_at) = (mesh(&mine), mesh(&theirs));
    let meshes = match (is_at.and_then(|at| mine.get(at)), was_at.and_then(|at| theirs.get(at))) {
        (Some(is), Some(was)) => {
            let same = |base: &str| now.of(base, is.letter) == then.of(base, was.letter);
            let areal =
                match (of_letter(now, "mesh.areal", is.letter), of_letter(then, "mesh.areal", was.letter)) {
                    (Some(is), Some(was)) => is >= was,
                    _ => false,
                };
            same("mesh.designation") && same("mesh.metal") && areal
        }
        (None, None) => true,
        _ => false,
    };
    // Without a mesh all surfacing counts.
    let over = |lays: &[Lay<'_>], at: Option<usize>, part: Part<'_>| -> Option<Decimal> {
        let upto = at.unwrap_or(lays.len());
        let mut sum = Decimal::zero();
        for lay in lays.iter().take(upto).filter(|lay| lay.letter.starts_with('s')) {
            sum = &sum + &of_letter(part, "surfacing.areal", lay.letter)?;
        }
        Some(sum)
    };
    let surfacing = match (over(&mine, is_at, now), over(&theirs, was_at, then)) {
        (Some(is), Some(was)) => is <= was,
        _ => false,
    };
    fn above<'l>(lays: &'l [Lay<'_>], at: Option<usize>) -> impl Iterator<Item = &'l Lay<'l>> {
        lays.iter().take(at.unwrap_or(0)).filter(|lay| lay.letter.starts_with('a'))
    }
    let is_above = above(&mine, is_at).map(|lay| (partner(lay.letter), lay.angle));
    let above_same = is_above.eq(above(&theirs, was_at).map(|lay| (Some(lay.letter), lay.angle)));
    let sum = |part: Part<'_>| reinforcement(part).map(|one| one.thickness);
    let thick = match (sum(now), sum(then)) {
        (Some(is), Some(was)) => is >= was,
        _ => false,
    };
    film && meshes && surfacing && above_same && thick
}

/// The same mould body and survey.
pub fn w11(now: Part<'_>, then: Part<'_>) -> bool {
    let among = |base: &str| match (now.nominal(base), then.nominal(base)) {
        (Some(is), Some(was)) => is.values().iter().all(|value| was.values().contains(value)),
        (_, None) => true,
        (None, Some(_)) => false,
    };
    among("tool.body") && among("tool.survey")
}
