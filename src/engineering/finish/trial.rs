//! When a property that was read in time will reach its limit: a straight line through the readings.

use crate::statistics::student_t_quantile;

/// Confidence of the interval.
pub const CONFIDENCE: f64 = 0.95;
/// Fewest readings that leave a scatter about a line.
const FEWEST: usize = 3;

/// One reading of a series: how long the panel was exposed, and what was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Exposure, in the one unit of the series.
    pub exposure: f64,
    /// The value, in the one unit of the series.
    pub value: f64,
}

/// On which side of the limit a property has to stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// At the limit or above.
    Above,
    /// At the limit or below.
    Below,
}

/// Where a straight line through the readings meets the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projection {
    /// How many readings it rests on.
    pub readings: usize,
    /// Change of the property by unit of exposure.
    pub slope: f64,
    /// The property at no exposure, by the line.
    pub intercept: f64,
    /// Exposure at which the line meets the limit.
    pub at: f64,
    /// Between which exposures a single reading may be at the limit, with 95 % confidence; `None` where the slope is
    /// so uncertain that there is no bound.
    pub bounds: Option<(f64, f64)>,
}

/// Why no time can be projected.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoProjection {
    /// Too few readings for a line with a scatter.
    #[error("{n} of the 3 readings that a line needs")]
    TooFew {
        /// How many there are.
        n: usize,
    },
    /// All readings at one exposure.
    #[error("all readings are of one exposure")]
    OneExposure,
    /// The line is level or leads away from the limit.
    #[error("the line through the readings does not go towards the limit")]
    Away,
    /// A figure that is not finite went in or came out.
    #[error("the figures give no finite line")]
    NotFinite,
}

/// Projects when a straight line fitted to the readings by least squares meets `limit`.
///
/// The interval is that of inverse prediction: all exposures at which a single reading of value `limit` would lie
/// inside the 95 % prediction band of the line. It is not projected how the property goes on beyond the line: paint
/// that chalks late goes faster then. Readings that are beyond the limit already are a matter of the caller.
///
/// # Errors
/// [`NoProjection`] for fewer than three readings, a single exposure, a line that does not go towards the limit,
/// figures that are not finite.
///
/// # Source
/// N. R. Draper, H. Smith, *Applied Regression Analysis*, section 3.2, inverse regression (from memory): with
/// u = x - mean x the ends are the roots of (y0 - mean y - b u)^2 = t^2 s^2 (1 + 1/n + u^2/Sxx); bounded only where
/// b^2 > t^2 s^2/Sxx, the slope differing from none at that confidence.
pub fn project(readings: &[Reading], limit: f64, keep: Keep) -> Result<Projection, NoProjection> {
    let count = readings.len();
    if count < FEWEST {
        return Err(NoProjection::TooFew { n: count });
    }
    #[allow(clippy::cast_precision_loss)]
    let n = count as f64;
    let mean_x = readings.iter().map(|one| one.exposure).sum::<f64>() / n;
    let mean_y = readings.iter().map(|one| one.value).sum::<f64>() / n;
    let sum = |of: &dyn Fn(&Reading) -> f64| readings.iter().map(of).sum::<f64>();
    let sxx = sum(&|one| (one.exposure - mean_x).powi(2));
    let sxy = sum(&|one| (one.exposure - mean_x) * (one.value - mean_y));
    if !(sxx.is_finite() && sxy.is_finite() && limit.is_finite()) {
        return Err(NoProjection::NotFinite);
    }
    if sxx == 0.0 {
        return Err(NoProjection::OneExposure);
    }
    let slope = sxy / sxx;
    let towards = match keep {
        Keep::Above => slope < 0.0,
        Keep::Below => slope > 0.0,
    };
    if !towards {
        return Err(NoProjection::Away);
    }
    let intercept = mean_y - slope * mean_x;
    let at = mean_x + (limit - mean_y) / slope;
    let residuals = sum(&|one| (one.value - intercept - slope * one.exposure).powi(2));
    let t = student_t_quantile(0.5 * (1.0 + CONFIDENCE), count - 2).map_err(|_| NoProjection::NotFinite)?;
    let spread = t * t * residuals / (n - 2.0);
    // b^2 u^2 - 2 b D u + D^2 = spread (1 + 1/n + u^2/Sxx)
    let away = limit - mean_y;
    let (square, one) = (slope * slope - spread / sxx, spread * (1.0 + 1.0 / n));
    let root = spread / sxx * away * away + one * square;
    let bounds = (square > 0.0 && root >= 0.0).then(|| {
        let (middle, half) = (slope * away / square, root.sqrt() / square);
        (mean_x + middle - half, mean_x + middle + half)
    });
    let bounds = bounds.filter(|(low, high)| low.is_finite() && high.is_finite());
    if !(at.is_finite() && intercept.is_finite()) {
        return Err(NoProjection::NotFinite);
    }
    Ok(Projection { readings: count, slope, intercept, at, bounds })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(values: &[(f64, f64)]) -> Vec<Reading> {
        values.iter().map(|(exposure, value)| Reading { exposure: *exposure, value: *value }).collect()
    }

    #[track_caller]
    fn close(got: f64, expected: f64) {
        assert!((got - expected).abs() <= 1e-8 * expected.abs().max(1.0), "{got} against {expected}");
    }

    /// scipy 1.10.1 by another road: `stats.linregress`, and `optimize.brentq` on where the edges of the prediction
    /// band, `stats.t.ppf(0.975, n - 2) s sqrt(1 + 1/n + (x - mean)^2/Sxx)`, cross the limit. Readings invented.
    #[test]
    fn the_line_meets_the_limit_where_scipy_has_it() {
        let gloss = [(0.0, 100.0), (1.0, 98.7), (3.0, 95.1), (6.0, 91.2), (12.0, 82.0)];
        let found = project(&series(&gloss), 70.0, Keep::Above).unwrap();
        close(found.slope, -1.497_854_077_253_219);
        close(found.intercept, 99.990_557_939_914_15);
        close(found.at, 20.022_349_570_200_568);
        close(found.bounds.unwrap().0, 18.905_888_235_789_135);
        close(found.bounds.unwrap().1, 21.260_132_840_605_177);
        let colour =
            [(0.0, 0.0), (250.0, 0.32), (500.0, 0.71), (1000.0, 1.18), (1500.0, 1.92), (2000.0, 2.41)];
        let found = project(&series(&colour), 3.0, Keep::Below).unwrap();
        close(found.at, 2_453.375_086_986_777_7);
        close(found.bounds.unwrap().0, 2_249.609_267_873_902_4);
        close(found.bounds.unwrap().1, 2_681.817_193_861_915);
        let few = [(0.0, 100.0), (3.0, 97.0), (6.0, 96.0), (12.0, 90.0)];
        let found = project(&series(&few), 70.0, Keep::Above).unwrap();
        close(found.at, 37.058_823_529_411_76);
        close(found.bounds.unwrap().0, 26.458_018_798_594_807);
        close(found.bounds.unwrap().1, 64.062_794_541_349_52);
    }

    #[test]
    fn too_little_is_refused_with_its_reason() {
        let two = series(&[(0.0, 100.0), (3.0, 96.0)]);
        assert_eq!(project(&two, 70.0, Keep::Above), Err(NoProjection::TooFew { n: 2 }));
        let same = series(&[(3.0, 100.0), (3.0, 96.0), (3.0, 95.0)]);
        assert_eq!(project(&same, 70.0, Keep::Above), Err(NoProjection::OneExposure));
        let rising = series(&[(0.0, 90.0), (3.0, 92.0), (6.0, 95.0)]);
        assert_eq!(project(&rising, 70.0, Keep::Above), Err(NoProjection::Away));
        assert!(project(&rising, 99.0, Keep::Below).is_ok());
        let level = series(&[(0.0, 10.0), (3.0, 10.0), (6.0, 10.0)]);
        assert_eq!(project(&level, 8.0, Keep::Above), Err(NoProjection::Away));
        let lost = series(&[(0.0, f64::NAN), (3.0, 10.0), (6.0, 10.0)]);
        assert_eq!(project(&lost, 8.0, Keep::Above), Err(NoProjection::NotFinite));
    }

    #[test]
    fn a_slope_that_may_be_none_has_no_bound() {
        let found = project(&series(&[(0.0, 100.0), (6.0, 92.0), (12.0, 97.0)]), 70.0, Keep::Above).unwrap();
        assert_eq!(found.bounds, None);
    }

    #[test]
    fn readings_on_a_line_meet_the_limit_without_a_doubt() {
        let found = project(&series(&[(0.0, 100.0), (6.0, 94.0), (12.0, 88.0)]), 70.0, Keep::Above).unwrap();
        close(found.at, 30.0);
        let (low, high) = found.bounds.unwrap();
        close(low, 30.0);
        close(high, 30.0);
    }
}
