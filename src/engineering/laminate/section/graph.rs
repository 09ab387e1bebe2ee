//! Walls as a graph: what hangs together, and the circuits.

use super::solve::dot;
use super::{SectionError, Wall, WallKind};

/// A wall with what follows from its nodes. Ends are measured from the centroid once it is known.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub index: usize,
    pub wall: Wall,
    pub start: [f64; 2],
    pub end: [f64; 2],
    pub length: f64,
    /// Axial stiffness per width, 0 for a bond, N/m.
    pub axial: f64,
    /// Shear flexibility, s/(G t) or t/(G w), m/N.
    pub flexibility: f64,
    /// 4 D66 s, N m2.
    pub twisting: f64,
    /// The way from the root to `wall.to` along the tree: +1, -1 or 0 for each piece.
    pub way: Vec<f64>,
    /// The sense in which each circuit passes: +1, -1 or 0.
    pub circuits: Vec<f64>,
}

impl Piece {
    pub(super) fn new(nodes: &[[f64; 2]], index: usize, wall: Wall) -> Result<Piece, SectionError> {
        let place = |node: usize| {
            let known = nodes.get(node).copied();
            let [y, z] = known.ok_or(SectionError::NoSuchNode { wall: index, node, nodes: nodes.len() })?;
            let outside = |value: &f64| !(-1e3..=1e3).contains(value);
            match [y, z].into_iter().find(outside) {
                Some(value) => Err(SectionError::NodeOutOfRange { node, value }),
                None => Ok([y, z]),
            }
        };
        let (start, end) = (place(wall.from)?, place(wall.to)?);
        wall.check(index)?;
        let length = (end[0] - start[0]).hypot(end[1] - start[1]);
        let plate = matches!(wall.kind, WallKind::Plate { .. });
        // A plate shorter than a nanometre is a slip of the pen.
        if wall.from == wall.to || (plate && length < 1e-9) {
            return Err(SectionError::ZeroLength { wall: index, from: wall.from, to: wall.to });
        }
        let (axial, flexibility, twisting) = match wall.kind {
            WallKind::Plate { axial, shear, twist, .. } => (axial, length / shear, 4.0 * twist * length),
            WallKind::Bond { width, thickness, g } => (0.0, thickness / (g * width), 0.0),
        };
        let (way, circuits) = (Vec::new(), Vec::new());
        Ok(Piece { index, wall, start, end, length, axial, flexibility, twisting, way, circuits })
    }

    pub(super) fn middle(&self, axis: usize) -> f64 {
        let of = |point: [f64; 2]| if axis == 0 { point[0] } else { point[1] };
        f64::midpoint(of(self.start), of(self.end))
    }

    pub(super) fn shift(&mut self, [y, z]: [f64; 2]) {
        for point in [&mut self.start, &mut self.end] {
            *point = [point[0] - y, point[1] - z];
        }
    }

    /// The wall's vector from node to node.
    pub(super) fn along(&self) -> [f64; 2] {
        [self.end[0] - self.start[0], self.end[1] - self.start[1]]
    }

    /// Twice the area that the wall sweeps about the centroid, positive from y to z.
    pub(super) fn swept(&self) -> f64 {
        self.start[0] * self.end[1] - self.start[1] * self.end[0]
    }

    /// Second moments of the mid-line: [E z2, E y2, E y z].
    pub(super) fn midline(&self) -> [f64; 3] {
        let ([y0, z0], [y1, z1]) = (self.start, self.end);
        let of = |a0: f64, a1: f64, b0: f64, b1: f64| {
            self.axial * self.length * (2.0 * (a0 * b0 + a1 * b1) + a0 * b1 + a1 * b0) / 6.0
        };
        [of(z0, z1, z0, z1), of(y0, y1, y0, y1), of(y0, y1, z0, z1)]
    }

    /// The same of its own thickness, about its mid-line.
    pub(super) fn own(&self) -> [f64; 3] {
        let WallKind::Plate { bend, .. } = self.wall.kind else { return [0.0; 3] };
        let [dy, dz] = self.along();
        let each = bend / self.length;
        [each * dy * dy, each * dz * dz, -each * dy * dz]
    }
}

/// Finds the ways and circuits of the pieces and returns how many circuits there are.
///
/// The tree takes the stiffest walls first, so that a soft bond closes one circuit and stands in no
/// other: the equations of the circuits then stay well-conditioned however soft it is.
pub(super) fn connect(nodes: usize, pieces: &mut [Piece]) -> Result<usize, SectionError> {
    let Some(first) = pieces.first() else { return Err(SectionError::Empty) };
    let root = first.wall.from;
    let count = pieces.len();
    let mut ways: Vec<Option<Vec<f64>>> = vec![None; nodes];
    if let Some(way) = ways.get_mut(root) {
        *way = Some(vec![0.0; count]);
    }
    let mut order: Vec<(usize, usize, usize)> =
        pieces.iter().enumerate().map(|(at, piece)| (at, piece.wall.from, piece.wall.to)).collect();
    let stiffness = |at: usize| pieces.get(at).map_or(0.0, |piece| piece.flexibility);
    order.sort_by(|a, b| stiffness(a.0).total_cmp(&stiffness(b.0)));
    let mut tree = vec![false; count];
    loop {
        let known = |node: usize| ways.get(node).and_then(Option::as_ref);
        let next = order.iter().find(|(_, from, to)| known(*from).is_some() != known(*to).is_some());
        let Some(&(at, from, to)) = next else { break };
        let (behind, ahead, sense) = if known(from).is_some() { (from, to, 1.0) } else { (to, from, -1.0) };
        let mut way = known(behind).cloned().unwrap_or_default();
        if let Some(step) = way.get_mut(at) {
            *step = sense;
        }
        if let Some(place) = ways.get_mut(ahead) {
            *place = Some(way);
        }
        if let Some(mark) = tree.get_mut(at) {
            *mark = true;
        }
    }
    let way = |node: usize| ways.get(node).and_then(Option::as_ref);
    let mut circuits = Vec::new();
    for (at, (piece, of_tree)) in pieces.iter().zip(&tree).enumerate() {
        let (Some(from), Some(to)) = (way(piece.wall.from), way(piece.wall.to)) else {
            return Err(SectionError::Disconnected { root, wall: piece.index });
        };
        if !of_tree {
            let mut circuit: Vec<f64> = from.iter().zip(to).map(|(a, b)| a - b).collect();
            if let Some(chord) = circuit.get_mut(at) {
                *chord = 1.0;
            }
            circuits.push(circuit);
        }
    }
    for (at, piece) in pieces.iter_mut().enumerate() {
        piece.way = way(piece.wall.to).cloned().unwrap_or_default();
        piece.circuits = circuits.iter().filter_map(|circuit| circuit.get(at)).copied().collect();
    }
    Ok(circuits.len())
}

/// Returns twice the signed area of each circuit, m2; what is only rounding is 0.
pub(super) fn areas(pieces: &[Piece], circuits: usize) -> Vec<f64> {
    let around: f64 = pieces.iter().map(|piece| piece.length).sum();
    let mut areas = vec![0.0; circuits];
    for piece in pieces {
        for (area, sense) in areas.iter_mut().zip(&piece.circuits) {
            *area += sense * piece.swept();
        }
    }
    areas.into_iter().map(|area| if area.abs() <= 1e-14 * around * around { 0.0 } else { area }).collect()
}

/// Returns the flexibilities of the circuits: the sum of s/(G t) along each and along what two share.
pub(super) fn flexibility(pieces: &[Piece], circuits: usize) -> Vec<Vec<f64>> {
    let mut matrix = vec![vec![0.0; circuits]; circuits];
    for piece in pieces {
        for (row, own) in matrix.iter_mut().zip(&piece.circuits) {
            for (value, other) in row.iter_mut().zip(&piece.circuits) {
                *value += own * other * piece.flexibility;
            }
        }
    }
    matrix
}

/// Returns a node at which one wall ends and none goes on.
pub(super) fn open_end(pieces: &[Piece]) -> Option<usize> {
    let ends = || pieces.iter().flat_map(|piece| [piece.wall.from, piece.wall.to]);
    ends().find(|node| ends().filter(|other| other == node).count() == 1)
}

/// The flow that circulations add to a piece.
pub(super) fn circulation(piece: &Piece, flows: &[f64]) -> f64 {
    dot(&piece.circuits, flows)
}
