//! Navier's double sine series: all edges simply supported, no D16, D26, no shear load.

use super::basis::pick;
use super::{Bending, Buckling, LaminateError, Method, Plate};
use std::f64::consts::PI;

/// The series is doubled until nothing moves by more than this share.
const SETTLED: f64 = 1e-5;
const FIRST: usize = 24;
const LAST: usize = 400;
/// Beyond this the terms move no point of the grid by more than the series is good for.
const GRID_TERMS: usize = 192;
/// Waves so short that no more than this share is left to the limit of shear crimping.
const NEAR_CRIMPING: f64 = 1e-4;
const MOST_WAVES: f64 = 2e7;

/// How one pair of half-waves resists: force over amplitude, and both rotations over it.
struct Wave {
    stiffness: f64,
    rotations: [f64; 2],
}

/// `alpha`, `beta`: m pi/a and n pi/b.
fn wave(plate: &Plate, alpha: f64, beta: f64) -> Wave {
    let [[d11, d12, _], [_, d22, _], [_, _, d66]] = plate.bending;
    let (xx, yy) = (d11 * alpha * alpha + d66 * beta * beta, d66 * alpha * alpha + d22 * beta * beta);
    let xy = (d12 + d66) * alpha * beta;
    // Bending resistance against rotations that follow the slopes.
    let bent = [xx * alpha + xy * beta, xy * alpha + yy * beta];
    let Some([sx, sy]) = plate.shear else {
        return Wave { stiffness: bent[0] * alpha + bent[1] * beta, rotations: [-alpha, -beta] };
    };
    // Shear strain = slope + rotation; written so that nothing large cancels where shear is stiff.
    let determinant = (xx + sx) * (yy + sy) - xy * xy;
    let strain = [
        ((yy + sy) * bent[0] - xy * bent[1]) / determinant,
        ((xx + sx) * bent[1] - xy * bent[0]) / determinant,
    ];
    Wave {
        stiffness: sx * alpha * strain[0] + sy * beta * strain[1],
        rotations: [strain[0] - alpha, strain[1] - beta],
    }
}

/// Deflection, Mx, My in the centre, Mxy in the corner, Qx, Qy in the middle of the edges.
fn sums(plate: &Plate, count: usize) -> [f64; 6] {
    let mut sums = [0.0; 6];
    for i in 0..count {
        for j in 0..count {
            let term = term(plate, i, j);
            let sign = |k: usize| if k.is_multiple_of(2) { 1.0 } else { -1.0 };
            let (x, y) = (sign(i), sign(j));
            let parts =
                [term[0] * x * y, term[1] * x * y, term[2] * x * y, term[3], term[4] * y, term[5] * x];
            for (sum, part) in sums.iter_mut().zip(parts) {
                *sum += part;
            }
        }
    }
    sums
}

/// Amplitudes of w, Mx, My (sin sin), Mxy (cos cos), Qx (cos sin), Qy (sin cos) of the odd
/// half-waves 2i + 1, 2j + 1 under 1 Pa.
fn term(plate: &Plate, i: usize, j: usize) -> [f64; 6] {
    let [[d11, d12, _], [_, d22, _], [_, _, d66]] = plate.bending;
    let (m, n) = ((2 * i + 1) as f64, (2 * j + 1) as f64);
    let (alpha, beta) = (m * PI / plate.length, n * PI / plate.width);
    let wave = wave(plate, alpha, beta);
    let w = 16.0 / (PI * PI * m * n) / wave.stiffness;
    let (x, y) = (wave.rotations[0] * w, wave.rotations[1] * w);
    let mx = -(d11 * alpha * x + d12 * beta * y);
    let my = -(d12 * alpha * x + d22 * beta * y);
    let mxy = d66 * (beta * x + alpha * y);
    [w, mx, my, mxy, alpha * mx - beta * mxy, beta * my - alpha * mxy]
}

/// The plate under a uniform pressure of `pressure` Pa.
pub fn pressure(plate: &Plate, pressure: f64) -> Result<Bending, LaminateError> {
    let mut count = FIRST;
    let mut last: Option<[f64; 6]> = None;
    let mut before = sums(plate, count);
    let mut change = 1.0;
    while change > SETTLED && count < LAST {
        count *= 2;
        let now = sums(plate, count);
        // What is left of the series falls with the square of the count in the corner, with the
        // count at the edges: two sums give the limit.
        let limit = [
            now[0],
            now[1],
            now[2],
            (4.0 * now[3] - before[3]) / 3.0,
            2.0 * now[4] - before[4],
            2.0 * now[5] - before[5],
        ];
        if let Some(last) = last {
            change = settled(limit, last);
        }
        last = Some(limit);
        before = now;
    }
    let Some(limit) = last.filter(|_| change <= 100.0 * SETTLED) else {
        return Err(LaminateError::NotConverged { what: "the deflection of the plate", change });
    };
    let [deflection, mx, my, mxy, qx, qy] = limit.map(|value| value * pressure);
    Ok(Bending {
        deflection,
        centre: [mx, my, 0.0],
        edge_moments: [0.0, 0.0],
        corner_twist: mxy,
        edge_shears: [qx, qy],
        grid: grid(plate, count.min(GRID_TERMS), [mx, my, mxy], pressure),
        method: Method::Navier { terms: count, change },
    })
}

/// The largest change as a share of what moments and forces are like.
fn settled(now: [f64; 6], before: [f64; 6]) -> f64 {
    let large = |from: usize, to: usize| {
        now.iter().skip(from).take(to - from).fold(f64::MIN_POSITIVE, |large, value| large.max(value.abs()))
    };
    let scales = [large(0, 1), large(1, 4), large(1, 4), large(1, 4), large(4, 6), large(4, 6)];
    now.iter()
        .zip(before)
        .zip(scales)
        .fold(0.0, |most, ((now, before), scale)| f64::max(most, (now - before).abs() / scale))
}

/// Moments over half the plate, 1/8 of the sides apart; the centre and the corners are known to the limit.
fn grid(plate: &Plate, count: usize, [mx, my, mxy]: [f64; 3], pressure: f64) -> [[[f64; 3]; 9]; 5] {
    let waves: Vec<Vec<(f64, f64)>> = (0..=8)
        .map(|step| {
            let angle = |i: usize| (2 * i + 1) as f64 * PI * f64::from(step) / 8.0;
            (0..count).map(|i| (libm::sin(angle(i)), libm::cos(angle(i)))).collect()
        })
        .collect();
    // Across first: each row of terms is summed once for the nine places, not for all of the points.
    let rows: Vec<Vec<[f64; 3]>> = (0..count)
        .map(|i| {
            let terms: Vec<[f64; 6]> = (0..count).map(|j| term(plate, i, j)).collect();
            let place = |across: &Vec<(f64, f64)>| {
                terms.iter().zip(across).fold([0.0; 3], |[mx, my, mxy], (term, (sin, cos))| {
                    [mx + term[1] * sin, my + term[2] * sin, mxy + term[3] * cos]
                })
            };
            waves.iter().map(place).collect()
        })
        .collect();
    let mut all = [[[0.0; 3]; 9]; 5];
    for (i, (row, along)) in all.iter_mut().zip(&waves).enumerate() {
        for (j, here) in row.iter_mut().enumerate() {
            for (sums, (sin, cos)) in rows.iter().zip(along) {
                let [mx, my, mxy] = sums.get(j).copied().unwrap_or_default();
                here[0] += mx * sin * pressure;
                here[1] += my * sin * pressure;
                here[2] += mxy * cos * pressure;
            }
            if i == 0 {
                here[0] = 0.0;
            }
            if j == 0 || j == 8 {
                here[1] = 0.0;
            }
            match (i, j) {
                (4, 4) => *here = [mx, my, 0.0],
                (0, 0) => *here = [0.0, 0.0, mxy],
                (0, 8) => *here = [0.0, 0.0, -mxy],
                _ => {}
            }
        }
    }
    all
}

/// The smallest factor at which Nx, Ny of `load` buckle the plate.
///
/// Along a ray of wave numbers the resistance over their square never falls, and with r the square
/// of the wave numbers it is at least that of shear S and bending b r in series, where b is half
/// the smallest eigenvalue of D (Korn). So waves beyond the radius that is searched cannot come first.
pub fn buckling(plate: &Plate, load: [f64; 3]) -> Result<Option<Buckling>, LaminateError> {
    let pushed = [-load[0], -load[1]];
    if pushed.iter().all(|push| *push <= 0.0) {
        return Ok(None);
    }
    let crimping = plate.crimping([load[0], load[1], 0.0]);
    let at = |m: usize, n: usize| {
        let (alpha, beta) = (m as f64 * PI / plate.length, n as f64 * PI / plate.width);
        let work = pushed[0] * alpha * alpha + pushed[1] * beta * beta;
        if work > 0.0 { wave(plate, alpha, beta).stiffness / work } else { f64::INFINITY }
    };
    let mut best = (f64::INFINITY, [0, 0]);
    let mut look = |m: usize, n: usize| {
        let factor = at(m, n);
        if factor < best.0 {
            best = (factor, [m, n]);
        }
        best.0
    };
    // Where one direction is pulled, only slender waves buckle: go out until one does.
    let mut side = 4;
    let mut first = f64::INFINITY;
    while !first.is_finite() && side < 100_000 {
        for k in 1..=side {
            first = look(k, 1).min(look(1, k));
        }
        side *= 4;
    }
    let target = crimping.map_or(first, |limit| first.min(limit * (1.0 - NEAR_CRIMPING)));
    let rest = plate.least_bending() / 2.0;
    let radius = [0, 1].map(|side| {
        let push = pick(pushed, side);
        if push <= 0.0 {
            return 0.0;
        }
        match plate.shear {
            None => target * push / rest,
            Some(shear) => {
                let shear = pick(shear, side);
                let left = (shear - target * push).max(shear * NEAR_CRIMPING);
                target * push * shear / (rest * left)
            }
        }
    });
    let radius = radius[0].max(radius[1]);
    let waves = radius * plate.length * plate.width / (4.0 * PI);
    if waves.is_nan() || waves >= MOST_WAVES {
        return Err(LaminateError::NotConverged { what: "the buckling load of the plate", change: 1.0 });
    }
    let mut m = 1;
    while (m as f64 * PI / plate.length).powi(2) <= radius {
        let rest = radius - (m as f64 * PI / plate.length).powi(2);
        let most = (rest.max(0.0).sqrt() * plate.width / PI).floor() as usize;
        for n in 1..=most {
            look(m, n);
        }
        m += 1;
    }
    let (factor, half_waves) = best;
    let method = Method::Navier { terms: m, change: 0.0 };
    Ok(match crimping {
        Some(limit) if limit <= factor => {
            Some(Buckling { factor: limit, half_waves: None, crimping: true, method })
        }
        _ if factor.is_finite() => {
            Some(Buckling { factor, half_waves: Some(half_waves), crimping: false, method })
        }
        _ => None,
    })
}
