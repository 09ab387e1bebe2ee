//! The method of Ritz in polynomials: any bending stiffness, both supports, with shear or without.

use super::basis::{Ends, Family, Function, Integrals, get, pick};
use super::{Plate, Support};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Bending curvatures x, y, xy, then transverse shear strains xz, yz.
const STRAINS: usize = 5;

/// How far a field's shape goes into a strain: which, with what factor, by which derivatives.
type Term = (usize, f64, usize, usize);

/// Deflection or one rotation, as products of a function of x and one of y.
struct Field {
    /// Places in the lists of families.
    family: [usize; 2],
    terms: &'static [Term],
    /// A rotation is odd where the deflection it belongs to is even.
    flip: [usize; 2],
    deflects: bool,
}

const THIN: &[Term] = &[(0, -1.0, 2, 0), (1, -1.0, 0, 2), (2, -2.0, 1, 1)];
const SLOPES: &[Term] = &[(3, 1.0, 1, 0), (4, 1.0, 0, 1)];
const ROTATION_X: &[Term] = &[(0, 1.0, 1, 0), (2, 1.0, 0, 1), (3, 1.0, 0, 0)];
const ROTATION_Y: &[Term] = &[(1, 1.0, 0, 1), (2, 1.0, 1, 0), (4, 1.0, 0, 0)];

/// One unknown: a field and its functions in x and y.
#[derive(Clone, Copy)]
struct Unknown {
    field: usize,
    index: [usize; 2],
}

/// One term of the elastic energy of two fields: its factor, and the rows of the integrals in x and in y that belong to
/// the first function of each.
struct Joined {
    by: f64,
    x: [usize; 2],
    y: [usize; 2],
}

/// The plate in so many functions each way.
pub struct Ritz {
    families: [Vec<Family>; 2],
    integrals: [Integrals; 2],
    fields: Vec<Field>,
    stiffness: [[f64; STRAINS]; STRAINS],
    sides: [f64; 2],
    /// No term joins functions of unlike parity in x alone.
    uncoupled: bool,
}

/// A shape that was solved for.
pub struct Shape {
    unknowns: Vec<Unknown>,
    amplitudes: DVector<f64>,
}

/// What a shape is at one place: deflection, moments x, y, xy, transverse forces x, y.
pub struct Local {
    pub deflection: f64,
    pub moments: [f64; 3],
    pub shears: [f64; 2],
}

impl Ritz {
    pub fn new(plate: &Plate, terms: [usize; 2]) -> Ritz {
        let [[d11, d12, d16], [_, d22, d26], [_, _, d66]] = plate.bending;
        let [sx, sy] = plate.shear.unwrap_or([0.0; 2]);
        let stiffness = [
            [d11, d12, d16, 0.0, 0.0],
            [d12, d22, d26, 0.0, 0.0],
            [d16, d26, d66, 0.0, 0.0],
            [0.0, 0.0, 0.0, sx, 0.0],
            [0.0, 0.0, 0.0, 0.0, sy],
        ];
        let families = terms.map(|count| match (plate.shear, plate.support) {
            (None, Support::SimplySupported) => vec![Family { ends: Ends::Held, count }],
            (None, Support::Clamped) => vec![Family { ends: Ends::Fixed, count }],
            // The rotations must hold every slope of the deflection, or a thin plate locks.
            (Some(_), Support::SimplySupported) => {
                vec![Family { ends: Ends::Held, count }, Family { ends: Ends::Free, count: count + 1 }]
            }
            (Some(_), Support::Clamped) => vec![Family { ends: Ends::Held, count }],
        });
        let last = families.each_ref().map(|list| list.len().saturating_sub(1));
        let fields = if plate.shear.is_some() {
            // Rotations first: what is left of the factorisation then belongs to the deflection.
            vec![
                Field { family: [last[0], 0], terms: ROTATION_X, flip: [1, 0], deflects: false },
                Field { family: [0, last[1]], terms: ROTATION_Y, flip: [0, 1], deflects: false },
                Field { family: [0, 0], terms: SLOPES, flip: [0, 0], deflects: true },
            ]
        } else {
            vec![Field { family: [0, 0], terms: THIN, flip: [0, 0], deflects: true }]
        };
        let [x, y] = &families;
        let integrals = [Integrals::new(x, plate.length), Integrals::new(y, plate.width)];
        let uncoupled = plate.is_orthotropic();
        Ritz { families, integrals, fields, stiffness, sides: [plate.length, plate.width], uncoupled }
    }

    /// Returns the shape under a pressure of 1 Pa, or none where the equations are singular.
    pub fn pressure(&self) -> Option<Shape> {
        let unknowns = self.unknowns([0, 0], self.uncoupled);
        let factors = self.factor(&unknowns)?;
        let [x, y] = &self.integrals;
        let load = DVector::from_iterator(
            unknowns.len(),
            unknowns.iter().map(|of| {
                let deflects = self.fields.get(of.field).is_some_and(|field| field.deflects);
                let function = |side: usize| Function { family: 0, index: pick(of.index, side), order: 0 };
                if deflects { x.single(function(0)) * y.single(function(1)) } else { 0.0 }
            }),
        );
        let amplitudes = factors.solve(&load);
        amplitudes.iter().all(|value| value.is_finite()).then_some(Shape { unknowns, amplitudes })
    }

    /// Returns the largest reciprocal of a critical factor of `load` (N/m, tension positive), or
    /// none where the equations are singular; 0 or less where the load cannot buckle the plate.
    pub fn buckling(&self, load: [f64; 3]) -> Option<f64> {
        let uncoupled = self.uncoupled && load[2] == 0.0;
        let classes: &[[usize; 2]] =
            if uncoupled { &[[0, 0], [0, 1], [1, 0], [1, 1]] } else { &[[0, 0], [0, 1]] };
        let mut greatest = f64::NEG_INFINITY;
        for class in classes {
            let unknowns = self.unknowns(*class, uncoupled);
            let factors = self.factor(&unknowns)?;
            let deflecting: Vec<Unknown> = unknowns
                .iter()
                .copied()
                .filter(|of| self.fields.get(of.field).is_some_and(|field| field.deflects))
                .collect();
            let size = deflecting.len();
            let start = unknowns.len() - size;
            // The trailing block of the factor is that of the stiffness with rotations removed.
            let lower = factors.l_dirty().view((start, start), (size, size)).lower_triangle();
            let geometric = DMatrix::from_fn(size, size, |row, column| {
                match (deflecting.get(row), deflecting.get(column)) {
                    (Some(one), Some(other)) => self.geometric(one, other, load),
                    _ => 0.0,
                }
            });
            let half = lower.solve_lower_triangular(&geometric)?;
            let whole = lower.solve_lower_triangular(&half.transpose())?;
            if !whole.iter().all(|value| value.is_finite()) {
                return None;
            }
            let even = (&whole + whole.transpose()) / 2.0;
            greatest = even.symmetric_eigenvalues().iter().copied().fold(greatest, f64::max);
        }
        Some(greatest)
    }

    /// Returns what a shape is at a place of -1..1 in both directions.
    pub fn local(&self, shape: &Shape, place: [f64; 2]) -> Local {
        let tables: Vec<Vec<DMatrix<f64>>> = self
            .families
            .iter()
            .zip(place)
            .map(|(list, at)| list.iter().map(|family| family.at(at)).collect())
            .collect();
        let value = |side: usize, family: usize, index: usize, order: usize| {
            let table = tables.get(side).and_then(|list| list.get(family));
            table.map_or(0.0, |table| {
                get(table, index, order) * (2.0 / pick(self.sides, side)).powi(order as i32)
            })
        };
        let mut deflection = 0.0;
        // Strains, and their derivatives in x and in y.
        let mut strains = [[0.0; STRAINS]; 3];
        for (of, amplitude) in shape.unknowns.iter().zip(shape.amplitudes.iter()) {
            let Some(field) = self.fields.get(of.field) else { continue };
            let product = |p: usize, q: usize| {
                value(0, field.family[0], of.index[0], p) * value(1, field.family[1], of.index[1], q)
            };
            if field.deflects {
                deflection += amplitude * product(0, 0);
            }
            for (strain, factor, p, q) in field.terms {
                for (set, more) in strains.iter_mut().zip([[0, 0], [1, 0], [0, 1]]) {
                    if let Some(sum) = set.get_mut(*strain) {
                        *sum += amplitude * factor * product(p + more[0], q + more[1]);
                    }
                }
            }
        }
        let [here, by_x, by_y] = strains.map(|strains| {
            self.stiffness.map(|row| row.iter().zip(strains).map(|(c, strain)| c * strain).sum::<f64>())
        });
        // Without shear strains Q follows from equilibrium; with them, S times strain converges better.
        let shears =
            if self.fields.len() == 1 { [by_x[0] + by_y[2], by_x[2] + by_y[1]] } else { [here[3], here[4]] };
        Local { deflection, moments: [here[0], here[1], here[2]], shears }
    }

    /// The unknowns of one class of symmetry about the plate's centre, or about both middle lines.
    fn unknowns(&self, class: [usize; 2], uncoupled: bool) -> Vec<Unknown> {
        let mut all = Vec::new();
        for (number, field) in self.fields.iter().enumerate() {
            let family = |side: usize| pick(self.families.each_ref(), side).get(pick(field.family, side));
            let (Some(x), Some(y)) = (family(0), family(1)) else { continue };
            for i in 0..x.count {
                for j in 0..y.count {
                    let px = (x.parity(i) + field.flip[0]) % 2;
                    let py = (y.parity(j) + field.flip[1]) % 2;
                    let fits = if uncoupled {
                        [px, py] == class
                    } else {
                        (px + py) % 2 == (class[0] + class[1]) % 2
                    };
                    if fits {
                        all.push(Unknown { field: number, index: [i, j] });
                    }
                }
            }
        }
        all
    }

    fn factor(&self, unknowns: &[Unknown]) -> Option<Cholesky<f64, Dyn>> {
        let size = unknowns.len();
        // By columns, the lower half alone: `Cholesky::new` reads nothing else. No chunk may have the size 0.
        let mut values = vec![0.0; size * size];
        let joined = self.joined();
        for (column, (other, down)) in unknowns.iter().zip(values.chunks_exact_mut(size.max(1))).enumerate() {
            for (one, value) in unknowns.iter().zip(down).skip(column) {
                let pairs = joined.get(one.field * self.fields.len() + other.field);
                *value = pairs.map_or(0.0, |pairs| self.elastic(pairs, one.index, other.index));
            }
        }
        Cholesky::new(DMatrix::from_vec(size, size, values))
    }

    /// The terms that join two fields, for each pair of them: they are the same for all unknowns of the pair.
    fn joined(&self) -> Vec<Vec<Joined>> {
        let pairs = self.fields.iter().flat_map(|one| self.fields.iter().map(move |other| (one, other)));
        pairs.map(|(one, other)| self.pair(one, other)).collect()
    }

    fn pair(&self, one: &Field, other: &Field) -> Vec<Joined> {
        let row = |field: &Field, side: usize, order: usize| {
            let family = pick(field.family, side);
            pick(self.integrals.each_ref(), side).row(Function { family, index: 0, order })
        };
        let mut all = Vec::new();
        for (strain, factor, p, q) in one.terms {
            for (strain_too, factor_too, p_too, q_too) in other.terms {
                let by = self.stiffness.get(*strain).and_then(|row| row.get(*strain_too)).copied();
                let Some(by) = by.filter(|value| *value != 0.0) else { continue };
                let x = [row(one, 0, *p), row(other, 0, *p_too)];
                let y = [row(one, 1, *q), row(other, 1, *q_too)];
                all.push(Joined { by: by * factor * factor_too, x, y });
            }
        }
        all
    }

    fn elastic(&self, pairs: &[Joined], one: [usize; 2], other: [usize; 2]) -> f64 {
        let [x, y] = &self.integrals;
        let at = |[row, row_too]: [usize; 2], side: usize| {
            [row + 3 * pick(one, side), row_too + 3 * pick(other, side)]
        };
        let mut sum = 0.0;
        for pair in pairs {
            sum += pair.by * x.at_rows(at(pair.x, 0)) * y.at_rows(at(pair.y, 1));
        }
        sum
    }

    /// Minus the work of the load in the slopes: compression gives positive values.
    fn geometric(&self, one: &Unknown, other: &Unknown, load: [f64; 3]) -> f64 {
        let product = |orders: [[usize; 2]; 2]| {
            let side = |integrals: &Integrals, side: usize| {
                let function =
                    |of: &Unknown, order: usize| Function { family: 0, index: pick(of.index, side), order };
                integrals
                    .product(function(one, pick(orders[0], side)), function(other, pick(orders[1], side)))
            };
            side(&self.integrals[0], 0) * side(&self.integrals[1], 1)
        };
        let mixed = product([[1, 0], [0, 1]]) + product([[0, 1], [1, 0]]);
        -(load[0] * product([[1, 0], [1, 0]]) + load[1] * product([[0, 1], [0, 1]]) + load[2] * mixed)
    }
}
