//! Polynomials of one direction that keep the conditions at both ends, and their integrals.

use nalgebra::DMatrix;

/// Returns an entry; outside the matrix what is no number, which no result survives.
pub fn get(of: &DMatrix<f64>, row: usize, column: usize) -> f64 {
    of.get((row, column)).copied().unwrap_or(f64::NAN)
}

/// Sets an entry.
pub fn put(of: &mut DMatrix<f64>, row: usize, column: usize, value: f64) {
    if let Some(entry) = of.get_mut((row, column)) {
        *entry = value;
    }
}

/// Returns what belongs to side 0, x, or to side 1, y.
pub fn pick<T>([x, y]: [T; 2], side: usize) -> T {
    if side == 0 { x } else { y }
}

/// Which conditions at both ends the functions keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ends {
    /// None.
    Free,
    /// The function is 0.
    Held,
    /// The function and its slope are 0.
    Fixed,
}

/// The functions of one kind: Legendre polynomials, or those integrated once or twice, so that
/// the derivative that carries the energy is orthonormal and high degrees stay well conditioned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Family {
    pub ends: Ends,
    pub count: usize,
}

impl Family {
    /// Degree of the Legendre polynomial behind function `index`; its parity is the function's
    /// own, or where integrated once the other.
    fn degree(&self, index: usize) -> usize {
        match self.ends {
            Ends::Free => index,
            Ends::Held => index + 1,
            Ends::Fixed => index + 2,
        }
    }

    /// Returns 0 where the function is even about the middle, 1 where it is odd.
    pub fn parity(&self, index: usize) -> usize {
        match self.ends {
            Ends::Held => index % 2,
            _ => self.degree(index) % 2,
        }
    }

    /// Returns the function as Legendre polynomials: degree and factor.
    fn parts(&self, index: usize) -> [(usize, f64); 3] {
        let k = self.degree(index);
        let real = k as f64;
        let scale = ((2.0 * real + 1.0) / 2.0).sqrt();
        match self.ends {
            Ends::Free => [(k, scale), (0, 0.0), (0, 0.0)],
            Ends::Held => {
                let part = scale / (2.0 * real + 1.0);
                [(k + 1, part), (k.saturating_sub(1), -part), (0, 0.0)]
            }
            Ends::Fixed => {
                let part = scale / (2.0 * real + 1.0);
                let (above, below) = (part / (2.0 * real + 3.0), part / (2.0 * real - 1.0));
                [(k + 2, above), (k, -above - below), (k.saturating_sub(2), below)]
            }
        }
    }

    /// Returns the values of all functions at `point` in -1..1, a row each; columns are the
    /// derivatives 0 to 3.
    pub fn at(&self, point: f64) -> DMatrix<f64> {
        let legendre = legendre(self.count + 4, point);
        DMatrix::from_fn(self.count, 4, |index, order| {
            self.parts(index).iter().map(|(degree, factor)| factor * get(&legendre, *degree, order)).sum()
        })
    }
}

/// Legendre polynomials 0 to `most` and their derivatives 0 to 3 at `x`.
fn legendre(most: usize, x: f64) -> DMatrix<f64> {
    let mut table = DMatrix::zeros(most + 1, 4);
    put(&mut table, 0, 0, 1.0);
    if most > 0 {
        put(&mut table, 1, 0, x);
        put(&mut table, 1, 1, 1.0);
    }
    for k in 1..most {
        let real = k as f64;
        let (here, before) = (get(&table, k, 0), get(&table, k - 1, 0));
        put(&mut table, k + 1, 0, ((2.0 * real + 1.0) * x * here - real * before) / (real + 1.0));
        for order in 1..4 {
            let value = get(&table, k - 1, order) + (2.0 * real + 1.0) * get(&table, k, order - 1);
            put(&mut table, k + 1, order, value);
        }
    }
    table
}

/// Returns places and weights of Gauss's rule with `count` points on -1..1, exact up to degree
/// 2 `count` - 1.
pub fn gauss(count: usize) -> Vec<(f64, f64)> {
    (0..count)
        .map(|index| {
            let mut x = libm::cos(std::f64::consts::PI * (index as f64 + 0.75) / (count as f64 + 0.5));
            let mut slope = 1.0;
            // Newton from a start this near is there in five steps.
            for _ in 0..8 {
                let table = legendre(count, x);
                slope = get(&table, count, 1);
                x -= get(&table, count, 0) / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// Integrals over one side of products of two functions or derivatives.
pub struct Integrals {
    /// Of all functions with one another, by columns.
    products: Vec<f64>,
    rows: usize,
    alone: DMatrix<f64>,
    starts: Vec<usize>,
}

impl Integrals {
    /// Works out all integrals over a side of `length`, in its own unit.
    pub fn new(families: &[Family], length: f64) -> Integrals {
        let most = families.iter().map(|family| family.count).max().unwrap_or(0);
        let mut starts = Vec::new();
        let mut rows = 0;
        for family in families {
            starts.push(rows);
            rows += 3 * family.count;
        }
        let points = gauss(most + 4);
        let mut values = DMatrix::zeros(rows, points.len());
        let mut alone = DMatrix::zeros(rows, 1);
        for (column, (place, weight)) in points.iter().enumerate() {
            for (family, start) in families.iter().zip(&starts) {
                let table = family.at(*place);
                for index in 0..family.count {
                    for order in 0..3 {
                        let value = get(&table, index, order) * (2.0 / length).powi(order as i32);
                        let row = start + 3 * index + order;
                        put(&mut values, row, column, value * (weight * length / 2.0).sqrt());
                        let sum = get(&alone, row, 0) + value * weight * length / 2.0;
                        put(&mut alone, row, 0, sum);
                    }
                }
            }
        }
        let products = (&values * values.transpose()).data.into();
        Integrals { products, rows, alone, starts }
    }

    /// Returns the row of a function; that of the next of its family lies 3 behind it.
    pub fn row(&self, of: Function) -> usize {
        self.starts.get(of.family).copied().unwrap_or(0) + 3 * of.index + of.order
    }

    /// Returns the integral of the product of two.
    pub fn product(&self, one: Function, other: Function) -> f64 {
        self.at_rows([self.row(one), self.row(other)])
    }

    /// Returns the integral of the product of two, by their rows.
    pub fn at_rows(&self, [one, other]: [usize; 2]) -> f64 {
        let entry = self.products.get(one + other * self.rows).filter(|_| one < self.rows);
        entry.copied().unwrap_or(f64::NAN)
    }

    /// Returns the integral of one.
    pub fn single(&self, of: Function) -> f64 {
        get(&self.alone, self.row(of), 0)
    }
}

/// A function of one family, or a derivative of it.
#[derive(Debug, Clone, Copy)]
pub struct Function {
    pub family: usize,
    pub index: usize,
    pub order: usize,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn functions_keep_their_conditions_at_the_ends() {
        for end in [-1.0, 1.0] {
            let held = Family { ends: Ends::Held, count: 12 }.at(end);
            let fixed = Family { ends: Ends::Fixed, count: 12 }.at(end);
            for index in 0..12 {
                assert!(held[(index, 0)].abs() < 1e-12 && held[(index, 1)].abs() > 0.5);
                assert!(fixed[(index, 0)].abs() < 1e-12 && fixed[(index, 1)].abs() < 1e-12);
                assert!(fixed[(index, 2)].abs() > 0.5);
            }
        }
    }

    // Parity and derivatives by their definition.
    #[test]
    fn parity_and_derivatives_are_as_said() {
        for ends in [Ends::Free, Ends::Held, Ends::Fixed] {
            let family = Family { ends, count: 9 };
            let (here, there, near) = (family.at(0.3), family.at(-0.3), family.at(0.3 + 1e-6));
            for index in 0..9 {
                let sign = if family.parity(index) == 0 { 1.0 } else { -1.0 };
                assert!((here[(index, 0)] - sign * there[(index, 0)]).abs() < 1e-12);
                for order in 0..3 {
                    let slope = (near[(index, order)] - here[(index, order)]) / 1e-6;
                    assert!((slope - here[(index, order + 1)]).abs() < 1e-2 * (1.0 + slope.abs()));
                }
            }
        }
    }

    // numpy.polynomial.legendre.leggauss(5).
    #[test]
    fn gauss_points_are_those_of_numpy() {
        let points = gauss(5);
        assert!((points[0].0 - 0.906_179_845_938_664).abs() < 1e-14);
        assert!((points[0].1 - 0.236_926_885_056_189).abs() < 1e-14);
        assert!((points[2].1 - 0.568_888_888_888_889).abs() < 1e-14);
    }
}
