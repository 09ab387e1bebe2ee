//! The section without its pane.

use super::{Rigidity, Section, SectionError, Torsion, Wall, WallKind};

/// What a section keeps when its pane is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaneLoss {
    /// Torsional stiffness with the pane.
    pub whole: Torsion,
    /// Torsional stiffness without it.
    pub lost: Torsion,
    /// GJ with the pane over GJ without it.
    pub torsion_ratio: f64,
    /// Axial and bending stiffness without it.
    pub rigidity: Rigidity,
}

impl Section {
    /// Returns the section without its pane and without the bonds that then hold nothing.
    ///
    /// Walls keep the place that they were first given. Centroid and shear centre move: a load that
    /// stays where it is needs its point in [`super::SectionLoad::at`], and an axial force its moments about
    /// the new centroid.
    ///
    /// # Errors
    /// [`SectionError::NoPane`], [`SectionError::AllPane`]; [`SectionError::Disconnected`] where only
    /// the pane held the section together.
    pub fn without_pane(&self) -> Result<Section, SectionError> {
        let mut left: Vec<(usize, Wall)> = self.walls().filter(|(_, wall)| !wall.pane).collect();
        if left.len() == self.pieces.len() {
            return Err(SectionError::NoPane);
        }
        // A bond with nothing at one end carries nothing; so does the next of a row of them.
        loop {
            let ends: Vec<usize> = left.iter().flat_map(|(_, wall)| [wall.from, wall.to]).collect();
            let held = |node: usize| ends.iter().filter(|end| **end == node).count() > 1;
            let before = left.len();
            left.retain(|(_, wall)| {
                matches!(wall.kind, WallKind::Plate { .. }) || (held(wall.from) && held(wall.to))
            });
            if left.len() == before {
                break;
            }
        }
        if left.is_empty() {
            return Err(SectionError::AllPane);
        }
        Section::build(&self.nodes, left)
    }

    /// Returns torsional stiffness with and without the pane, and the ratio.
    ///
    /// # Errors
    /// Those of [`Section::without_pane`]; [`SectionError::NoTorsion`] where nothing carries a torque
    /// without the pane.
    ///
    /// # Example
    /// The invented cell of 80 x 40 mm: laminate of 1.5 mm, a sheet of 5 mm as one long wall.
    ///
    /// ```
    /// use bondline_engineering::laminate::{Section, Wall};
    /// let nodes = [[0.0, 0.0], [0.08, 0.0], [0.08, 0.04], [0.0, 0.04]];
    /// let frame = |from, to| Wall::of_moduli(from, to, 50e9, 20e9, 0.0015);
    /// let sheet = Wall::of_moduli(3, 2, 3e9, 1.1e9, 0.005).as_pane();
    /// let section = Section::new(&nodes, &[frame(0, 1), frame(1, 2), frame(3, 0), sheet])?;
    /// let loss = section.pane_loss()?;
    /// assert!((loss.whole.cells - 2060.0).abs() < 1.0); // 2.06e9 N mm2
    /// assert!((loss.lost.gj - 3.6).abs() < 1e-9); // 3.6e6 N mm2
    /// # Ok::<(), bondline_engineering::laminate::SectionError>(())
    /// ```
    pub fn pane_loss(&self) -> Result<PaneLoss, SectionError> {
        let without = self.without_pane()?;
        let (whole, lost) = (self.torsion, without.torsion);
        if lost.gj <= 0.0 {
            return Err(SectionError::NoTorsion);
        }
        Ok(PaneLoss { whole, lost, torsion_ratio: whole.gj / lost.gj, rigidity: without.rigidity })
    }
}
