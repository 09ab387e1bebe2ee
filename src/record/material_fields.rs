//! Which keys go with which kind of material: one table for the reader and for the schema.

use super::{Material, MaterialKind};

/// What a kind of material takes besides the keys that every material may have.
pub(crate) struct KindFields {
    /// The kind.
    pub(crate) kind: MaterialKind,
    /// Keys that must be there: one of each group.
    pub(crate) needs: &'static [&'static [&'static str]],
    /// Keys that may be there.
    pub(crate) may: &'static [&'static str],
    /// Words that `form` takes; any where empty.
    pub(crate) forms: &'static [&'static str],
    /// Whether `fibre` must hold `areal`; elsewhere it must not.
    pub(crate) fibre_areal: bool,
}

/// Keys that go with every kind.
pub(crate) const EVERY: &[&str] = &[
    "kind",
    "designation",
    "formerly",
    "supplier",
    "site",
    "diffusivity",
    "title",
    "notes",
    "source",
    "owner",
    "spec",
    "price",
    "labour",
    "scrap",
];

const WEAVES: &[&str] = &["twill", "plain", "satin", "unidirectional", "non-crimp", "veil"];
const CORES: &[&str] = &["honeycomb", "foam", "balsa"];

const fn row(
    kind: MaterialKind,
    needs: &'static [&'static [&'static str]],
    may: &'static [&'static str],
    forms: &'static [&'static str],
) -> KindFields {
    KindFields { kind, needs, may, forms, fibre_areal: matches!(kind, MaterialKind::Prepreg) }
}

/// The table, one row a kind.
pub(crate) const KINDS: &[KindFields] = &[
    row(
        MaterialKind::Fabric,
        &[&["areal"], &["fibre"]],
        &["form", "cured_thickness", "lamina", "strength"],
        WEAVES,
    ),
    row(MaterialKind::Resin, &[&["density"]], &["family", "dry_tg", "wet_tg"], &[]),
    row(
        MaterialKind::Prepreg,
        &[&["fibre"], &["resin"]],
        &["form", "cured_thickness", "out_life", "dry_tg", "wet_tg", "impregnation", "lamina", "strength"],
        WEAVES,
    ),
    row(
        MaterialKind::Core,
        &[&["density"]],
        &[
            "form",
            "cell",
            "resin_uptake",
            "service_temperature",
            "E",
            "nu",
            "cte",
            "tensile_strength",
            "compressive_strength",
            "compressive_modulus",
            "shear_modulus",
            "shear_modulus_across",
            "shear_strength",
            "shear_strength_across",
        ],
        CORES,
    ),
    row(
        MaterialKind::Adhesive,
        &[&["areal", "density"]],
        // A film comes with its time out of the freezer, as a prepreg does (common practice, no source).
        &[
            "cured_thickness",
            "shear_modulus",
            "shear_strength",
            "family",
            "dry_tg",
            "wet_tg",
            "out_life",
            "E",
            "nu",
            "cte",
        ],
        &[],
    ),
    row(
        MaterialKind::Mesh,
        &[&["areal"]],
        &["metal", "resin_fill", "cured_thickness", "E", "nu", "cte"],
        &[],
    ),
    row(
        MaterialKind::Surfacing,
        &[&["areal"]],
        &["cured_thickness", "resin_density", "family", "dry_tg", "wet_tg", "out_life", "E", "nu", "cte"],
        &[],
    ),
    row(MaterialKind::Coating, &[&["dry_density"], &["role"]], &["solids_by_volume", "transfer"], &[]),
    row(
        MaterialKind::Sheet,
        &[&["density"]],
        &["E", "G", "nu", "cte", "tg", "tensile_strength", "craze_stress", "modulus_at", "creep"],
        &[],
    ),
    row(MaterialKind::Part, &[&["mass", "linear_mass"]], &[], &[]),
];

impl KindFields {
    /// Returns the row of a kind by its word.
    pub(crate) fn of(word: &str) -> Option<&'static KindFields> {
        KINDS.iter().find(|row| row.kind.word() == word)
    }

    /// Returns whether `key` goes with this kind.
    pub(crate) fn takes(&self, key: &str) -> bool {
        EVERY.contains(&key) || self.may.contains(&key) || self.needs.iter().any(|group| group.contains(&key))
    }

    /// Returns all keys that are this kind's own.
    pub(crate) fn own(&self) -> impl Iterator<Item = &'static str> {
        self.needs.iter().flat_map(|group| group.iter()).chain(self.may).copied()
    }
}

/// Returns whether a material has what its kind needs and nothing that its kind does not take.
pub(crate) fn complies(material: &Material) -> bool {
    let Some(row) = KINDS.iter().find(|row| row.kind == material.kind) else { return false };
    let present = present(material);
    let form_fits =
        material.form.as_ref().is_none_or(|form| row.forms.is_empty() || row.forms.contains(&form.as_str()));
    let fibre_fits = material.fibre.as_ref().is_none_or(|fibre| fibre.areal.is_some() == row.fibre_areal);
    form_fits
        && fibre_fits
        && present.iter().all(|(key, there)| !there || row.takes(key))
        && row.needs.iter().all(|group| present.iter().any(|(key, there)| *there && group.contains(key)))
}

macro_rules! presence {
    ($of:ident: $($field:ident $key:literal),* $(,)?) => { [$(($key, $of.$field.is_some()),)* ("modulus_at", !$of.modulus_at.is_empty())] };
}

/// Which of the keys that depend on the kind are there.
fn present(material: &Material) -> [(&'static str, bool); 40] {
    presence!(material: areal "areal", fibre "fibre", form "form", cured_thickness "cured_thickness",
        density "density", family "family", dry_tg "dry_tg", wet_tg "wet_tg", resin "resin",
        out_life "out_life", impregnation "impregnation", cell "cell", resin_uptake "resin_uptake",
        resin_fill "resin_fill", service_temperature "service_temperature", metal "metal",
        resin_density "resin_density", dry_density "dry_density", role "role",
        solids_by_volume "solids_by_volume", transfer "transfer", e "E", g "G", nu "nu", cte "cte", tg "tg",
        tensile_strength "tensile_strength", craze_stress "craze_stress", compressive_strength "compressive_strength",
        compressive_modulus "compressive_modulus", shear_modulus "shear_modulus",
        shear_modulus_across "shear_modulus_across", shear_strength "shear_strength",
        shear_strength_across "shear_strength_across", creep "creep", lamina "lamina", strength "strength", mass "mass",
        linear_mass "linear_mass")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_of_the_type_is_known_to_the_table() {
        let schema = serde_json::to_value(schemars::schema_for!(Material)).unwrap();
        let keys: Vec<&String> = schema["properties"].as_object().unwrap().keys().collect();
        for key in &keys {
            assert!(KINDS.iter().any(|row| row.takes(key)), "no kind takes `{key}`");
        }
        for row in KINDS {
            for key in row.own() {
                assert!(keys.iter().any(|known| known.as_str() == key), "the type has no `{key}`");
            }
        }
    }

    #[test]
    fn presence_covers_every_key_that_depends_on_the_kind() {
        let material: Material = serde_yaml::from_str("{kind: part, mass: 1 g}").unwrap();
        let listed: Vec<&str> = present(&material).iter().map(|(key, _)| *key).collect();
        let schema = serde_json::to_value(schemars::schema_for!(Material)).unwrap();
        for key in schema["properties"].as_object().unwrap().keys() {
            assert!(EVERY.contains(&key.as_str()) || listed.contains(&key.as_str()), "`{key}` is not listed");
        }
        assert!(complies(&material));
        let without: Material = serde_yaml::from_str("{kind: part, title: x}").unwrap();
        assert!(!complies(&without));
    }
}
