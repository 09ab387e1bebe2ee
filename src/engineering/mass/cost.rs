//! What is bought and worked for a piece: the arithmetic of a unit cost on plain values.
//!
//! All of it is common practice, no source: net use over what is left of what was bought, a coat by its wet
//! volume, a mould by its share in each pull, labour by the hour.

use super::{MassError, finite};

/// Returns what has to be bought so that `net` is left.
///
/// # Arguments
/// * `net` – what is on the piece, in any unit
/// * `scrap` – share of what is bought that is cut off or thrown away, 0 to less than 1
///
/// # Errors
/// [`MassError::NotFinite`] where a share leaves nothing.
///
/// # Source
/// net / (1 - scrap); common practice, no source.
pub fn bought(net: f64, scrap: f64) -> Result<f64, MassError> {
    let left = if (0.0..1.0).contains(&scrap) { 1.0 - scrap } else { f64::NAN };
    finite("what has to be bought", net / left)
}

/// Returns the volume of coating that has to be sprayed for a dry film, in m3.
///
/// # Arguments
/// * `area` – m2
/// * `dry_film` – as sprayed, before any of it is removed, m
/// * `solids` – solids by volume, more than 0 up to 1
/// * `transfer` – share of what is sprayed that reaches the piece, more than 0 up to 1
///
/// # Errors
/// [`MassError::NotFinite`] where a share is 0 or less.
///
/// # Source
/// V = A t / (solids x transfer): theoretical spreading rate over transfer efficiency; common practice, no
/// source.
pub fn sprayed(area: f64, dry_film: f64, solids: f64, transfer: f64) -> Result<f64, MassError> {
    let share = if solids > 0.0 && transfer > 0.0 { solids * transfer } else { f64::NAN };
    finite("the volume to spray", area * dry_film / share)
}

/// Returns what one piece carries of its mould.
///
/// # Arguments
/// * `price` – what the mould cost, in money
/// * `pulls` – pieces expected from it
///
/// # Errors
/// [`MassError::NotFinite`] where no pull is expected.
///
/// # Source
/// price / pulls, nothing for interest or storage; common practice, no source.
pub fn mould_share(price: f64, pulls: f64) -> Result<f64, MassError> {
    finite("the share of the mould", if pulls > 0.0 { price / pulls } else { f64::NAN })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reckoned by hand: of 4 m2 bought a quarter is cut off, 3 m2 are left; 1 m2 under 60 um of film at 50 %
    /// solids and 60 % transfer takes 60e-6 / 0.3 = 0.2e-3 m3, 0.2 l; a mould of 9 000 over 150 pulls gives 60
    /// each. The formulas are common practice, no source.
    #[test]
    fn a_hand_reckoned_piece() {
        assert_eq!(bought(3.0, 0.25), Ok(4.0));
        assert!((sprayed(1.0, 60e-6, 0.5, 0.6).unwrap() - 2.0e-4).abs() < 1e-18);
        assert_eq!(mould_share(9_000.0, 150.0), Ok(60.0));
        assert_eq!(bought(3.0, 0.0), Ok(3.0));
    }

    #[test]
    fn what_leaves_nothing_is_refused() {
        for scrap in [1.0, 1.5, -0.1, f64::NAN] {
            assert!(bought(1.0, scrap).is_err(), "{scrap}");
        }
        assert!(sprayed(1.0, 1e-5, 0.0, 0.6).is_err() && sprayed(1.0, 1e-5, 0.5, 0.0).is_err());
        assert!(mould_share(1.0, 0.0).is_err());
    }
}
