//! Layers added up.

use super::ply::Ply;
use super::{LaminateError, areal, density, thickness};

/// Any layer of a stack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Its mass per area, kg/m2.
    pub areal_mass: f64,
    /// Its cured thickness, m; `None` where nobody stated it. Unknown is not zero.
    pub thickness: Option<f64>,
}

impl From<Ply> for Layer {
    fn from(ply: Ply) -> Self {
        Self { areal_mass: ply.areal_mass, thickness: Some(ply.thickness) }
    }
}

/// Returns a layer of solid material: a core, a sheet, a coat.
///
/// # Arguments
/// * `bulk_density` – kg/m3, cells included
/// * `layer_thickness` – m
///
/// # Errors
/// [`LaminateError::OutOfRange`].
///
/// # Source
/// Areal mass = density times thickness.
pub fn solid(bulk_density: f64, layer_thickness: f64) -> Result<Layer, LaminateError> {
    let thickness = thickness("the layer's thickness", layer_thickness)?;
    Ok(Layer {
        areal_mass: density("the layer's density", bulk_density)? * thickness,
        thickness: Some(thickness),
    })
}

/// Returns a layer that is bought by its areal mass: a film adhesive, a mesh, a surfacing film.
///
/// # Arguments
/// * `areal_mass` – as delivered, carrier included, plus any resin that fills it, kg/m2
/// * `cured_thickness` – m, where stated
///
/// # Errors
/// [`LaminateError::OutOfRange`].
pub fn film(areal_mass: f64, cured_thickness: Option<f64>) -> Result<Layer, LaminateError> {
    let thickness = cured_thickness.map(|t| thickness("the layer's thickness", t)).transpose()?;
    Ok(Layer { areal_mass: areal("the layer's areal mass", areal_mass)?, thickness })
}

/// What layers add up to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stack {
    /// Mass per area of all layers, kg/m2.
    pub areal_mass: f64,
    /// Thickness of the layers that state one, m.
    pub thickness: f64,
    /// How many layers state none and are missing from `thickness`.
    pub without_thickness: usize,
}

/// Returns the sum of `layers`, in written order.
///
/// # Errors
/// [`LaminateError::OutOfRange`] for a layer, or a sum, that is negative, absurd or not a number.
///
/// # Source
/// Sum of areal masses and thicknesses.
pub fn stack(layers: &[Layer]) -> Result<Stack, LaminateError> {
    let mut sum = Stack { areal_mass: 0.0, thickness: 0.0, without_thickness: 0 };
    for layer in layers {
        sum.areal_mass += areal("the layer's areal mass", layer.areal_mass)?;
        match layer.thickness {
            Some(t) => sum.thickness += thickness("the layer's thickness", t)?,
            None => sum.without_thickness += 1,
        }
    }
    areal("the stack's areal mass", sum.areal_mass)?;
    Ok(sum)
}

#[cfg(test)]
mod tests {
    use super::super::{Constituents, ply};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_painted_sandwich_adds_up() {
        // numpy: paint 90, primer 35, mesh 88 and film 95, six plies of 206.154, two adhesive
        // films of 220, 15 mm of core of 64 kg/m3, two plies of 206.154 (g/m2).
        let of = Constituents {
            fibre_areal: 0.134,
            resin_content: 0.35,
            fibre_density: 1770.0,
            resin_density: 1300.0,
        };
        let skin = Layer::from(ply(&of, 0.0, 0.0).unwrap());
        let mut layers: Vec<Layer> = [0.090, 0.035, 0.088, 0.095].map(|m| film(m, None).unwrap()).into();
        layers.extend([skin; 6]);
        layers.extend([film(0.220, Some(0.15e-3)).unwrap(); 2]);
        layers.push(solid(64.0, 0.015).unwrap());
        layers.extend([skin; 2]);
        let got = stack(&layers).unwrap();
        assert!((got.areal_mass / 3.357232 - 1.0).abs() < 1e-6, "{}", got.areal_mass);
        // 8 plies of 0.131209 mm, 0.3 mm of film, 15 mm of core.
        assert!((got.thickness * 1e3 - 16.34967).abs() < 1e-5, "{}", got.thickness);
        assert_eq!(got.without_thickness, 4);
        layers.reverse();
        assert!((stack(&layers).unwrap().areal_mass - got.areal_mass).abs() < 1e-14);
    }

    #[test]
    fn bad_layers_are_refused() {
        assert!(solid(f64::NAN, 0.01).is_err());
        assert!(solid(64.0, -0.01).is_err());
        assert!(film(-0.1, None).is_err());
        assert!(film(0.1, Some(f64::INFINITY)).is_err());
        assert!(stack(&[Layer { areal_mass: f64::NAN, thickness: None }]).is_err());
        assert!(stack(&[Layer { areal_mass: 9e3, thickness: None }; 2]).is_err());
        let none = Stack { areal_mass: 0.0, thickness: 0.0, without_thickness: 0 };
        assert_eq!(stack(&[]), Ok(none));
    }

    proptest! {
        #[test]
        fn one_layer_split_in_two_is_the_same_stack(rho in 10.0..3000.0, t in 1e-5..0.1, share in 0.1..0.9) {
            let whole = stack(&[solid(rho, t).unwrap()]).unwrap();
            let parts = stack(&[solid(rho, t * share).unwrap(), solid(rho, t * (1.0 - share)).unwrap()]).unwrap();
            prop_assert!((whole.areal_mass / parts.areal_mass - 1.0).abs() < 1e-14);
            prop_assert!((whole.thickness / parts.thickness - 1.0).abs() < 1e-14);
        }
    }
}
