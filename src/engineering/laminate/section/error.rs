//! Why a section cannot be computed.

/// Why a section, or one figure of it, could not be computed. Walls and nodes count from 0.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SectionError {
    /// A section of no walls.
    #[error("the section has no walls")]
    Empty,
    /// A wall runs to a node that is not there.
    #[error("wall {wall} names node {node}, but the section has {nodes} nodes, counted from 0")]
    NoSuchNode {
        /// The wall.
        wall: usize,
        /// The node that it names.
        node: usize,
        /// How many nodes there are.
        nodes: usize,
    },
    /// A plate whose ends coincide, or a bond from a node to itself.
    #[error("wall {wall} has no length: it runs from node {from} to node {to} at the same place")]
    ZeroLength {
        /// The wall.
        wall: usize,
        /// The node that it comes from.
        from: usize,
        /// The node that it goes to.
        to: usize,
    },
    /// Walls that hang together with none of the others.
    #[error("the section is in pieces: no wall or bond leads from node {root} to wall {wall}")]
    Disconnected {
        /// A node of the first piece.
        root: usize,
        /// A wall that is not of that piece.
        wall: usize,
    },
    /// No wall carries a load along the member.
    #[error("no wall has an axial stiffness, so the section has no centroid")]
    NoAxialStiffness,
    /// A section that bounds no area where a closed one is needed.
    #[error("the section does not close: its walls bound no cell{}", at(.end))]
    Open {
        /// A node at which a wall ends and none goes on.
        end: Option<usize>,
    },
    /// A torque on a section that cannot carry one.
    #[error("the section is open and no wall has a twisting stiffness: it carries no torque")]
    NoTorsion,
    /// A transverse load or moment on walls that all lie on one line.
    #[error(
        "all walls that carry axial load lie on one straight line: the section has no bending stiffness across it"
    )]
    Straight,
    /// The loss of a pane that the section does not have.
    #[error("no wall of the section is marked as the pane")]
    NoPane,
    /// Nothing is left when the pane is lost.
    #[error("all walls of the section are marked as the pane: nothing is left without it")]
    AllPane,
    /// Stiffnesses too far apart for double precision.
    #[error("the stiffnesses of the walls lie too far apart to be computed together")]
    IllConditioned,
    /// A value of a node that is out of range.
    #[error("node {node} lies at {value} m; coordinates must lie within 1000 m of the origin")]
    NodeOutOfRange {
        /// The node.
        node: usize,
        /// Its coordinate, m.
        value: f64,
    },
    /// A value of a wall that is not a number or outside its range.
    #[error("{what} of wall {wall} is {value} {unit}; it must be {range}")]
    WallOutOfRange {
        /// The wall.
        wall: usize,
        /// Which value.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// The range, in words.
        range: &'static str,
        /// SI unit.
        unit: &'static str,
    },
    /// A load that is not a number or beyond any.
    #[error("{what} is {value} {unit}; it must lie within 1e15 {unit}")]
    LoadOutOfRange {
        /// Which load.
        what: &'static str,
        /// What was given, in `unit`.
        value: f64,
        /// SI unit.
        unit: &'static str,
    },
}

fn at(end: &Option<usize>) -> String {
    end.map_or_else(String::new, |node| format!("; node {node} is an open end"))
}
