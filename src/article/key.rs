//! Keys of a configuration: the attribute, which limit, the constituent's letter, the zone, joint or face.

use super::name::Name;
use foldhash::HashMap;
use std::cell::RefCell;
use std::cmp::Ordering;
use std::fmt;
use std::sync::Arc;

/// All attributes in the order of the canonical form.
pub const ORDER: &[&str] = &[
    "fibre.name",
    "fibre.type",
    "fibre.density",
    "fibre-areal",
    "weave.form",
    "weave.thickness",
    "resin.name",
    "resin.density",
    "resin.family",
    "resin-content",
    "resin-content.route",
    "resin-content.uptake",
    "resin-content.fill",
    "out-time.out_life",
    "site.supplier",
    "site.material",
    "site.impregnation",
    "cure.method",
    "cure.cycle",
    "cure.pressure",
    "cure.vacuum",
    "cure.postcure",
    "cure.surface_preparation",
    "cure.bleed",
    "out-time.max_out_time",
    "site.layup",
    "site.bond",
    "site.paint",
    "plies",
    "core.designation",
    "core.form",
    "core.cell",
    "core-density",
    "core-thickness",
    "adhesive.designation",
    "adhesive.areal",
    "adhesive.density",
    "adhesive.thickness",
    "surfacing.designation",
    "surfacing.areal",
    "surfacing.thickness",
    "surfacing.depth",
    "mesh.designation",
    "mesh.metal",
    "mesh.areal",
    "mesh.thickness",
    "mesh.depth",
    "filler",
    "filler.density",
    "primer",
    "primer.density",
    "base-coat",
    "base-coat.density",
    "top-coat",
    "top-coat.density",
    "film-build.total",
    "film-build.max",
    "colour.absorptance",
    "colour.emittance",
    "tool.body",
    "tool.cte",
    "tool.tg",
    "tool.surface",
    "tool.sealed",
    "tool.survey",
    "tool.chain",
    "geometry.area",
    "geometry.width",
    "geometry.thickness",
    "geometry.length",
    "geometry.role",
    "geometry.route",
    "geometry.class",
    "geometry.load_path",
    "geometry.overlap",
    "geometry.painted",
    "geometry.squeeze_out",
    "geometry.radius",
    "geometry.plate",
    "geometry.section",
    "geometry.load",
    "edges.edges",
    "edges.fittings",
    "edges.holes",
    "environment.exposure",
    "glazing.designation",
    "glazing.thickness",
    "glazing.supplier",
    "glazing.site",
    "glazing.structural",
    "claims.zone",
    "claims.lightning",
    "claims.fluids",
    "claims.core-form",
    "claims.fasteners",
    "claims.hole",
];

/// Attributes that name a constituent by its letter come first, letter by letter, up to this one.
const LAST_OF_PLY_BLOCK: usize = 16;

/// Which limit of an attribute a key holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Limit {
    /// The nominal.
    Nominal,
    /// The low limit.
    Low,
    /// The high limit.
    High,
    /// That the tolerance is written as a share of the nominal; known of records only, never conformed.
    Share,
}

/// The key of one attribute in a configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// Zone, joint or face that it belongs to, such as `z1` or `j1.x2`; empty for the whole.
    pub scope: Name,
    /// Letter of the constituent, such as `a` or `c2`; empty where it has none.
    pub letter: Name,
    /// The attribute, such as `resin-content.route`; a load carries its name behind.
    pub base: Name,
    /// Which limit.
    pub limit: Limit,
}

impl Key {
    /// Returns the key of a nominal without letter or scope.
    pub fn plain(base: &str) -> Self {
        Self { scope: Name::default(), letter: Name::default(), base: Name::new(base), limit: Limit::Nominal }
    }

    /// Returns the key of a nominal of one constituent.
    pub fn of(base: &str, letter: &str) -> Self {
        Self { letter: Name::new(letter), ..Self::plain(base) }
    }

    /// Returns this key within a zone, joint or face.
    pub fn within(&self, scope: &str) -> Self {
        let scope = match self.scope.as_str() {
            "" => Name::new(scope),
            own => Name::new(&format!("{own}.{scope}")),
        };
        Self { scope, ..*self }
    }

    /// Returns this key for another limit.
    pub fn limit(&self, limit: Limit) -> Self {
        Self { limit, ..*self }
    }

    /// Returns this key for another letter.
    pub fn lettered(&self, letter: &str) -> Self {
        Self { letter: Name::new(letter), ..*self }
    }

    /// As [`Key::parse`], remembered for as long as the thread runs: records write the same few keys
    /// thousands of times.
    pub fn read(text: &Arc<str>) -> Self {
        /// Beyond this many keys the memory of them begins anew.
        const MOST: usize = 8192;
        thread_local! {
            static KNOWN: RefCell<HashMap<Arc<str>, Key>> = RefCell::default();
        }
        KNOWN.with_borrow_mut(|known| {
            if let Some(key) = known.get(text) {
                return *key;
            }
            if known.len() >= MOST {
                known.clear();
            }
            let key = Self::parse(text);
            known.insert(Arc::clone(text), key);
            key
        })
    }

    /// Reads a key as configurations write it; whatever is not known stays in `base`.
    pub fn parse(text: &str) -> Self {
        // No attribute has more than two parts, and the longer one goes before the shorter.
        let mut dots = text.match_indices('.').map(|(at, _)| at);
        let one = dots.next().unwrap_or(text.len());
        let two = dots.next().unwrap_or(text.len());
        let base = [two, one].into_iter().find_map(|end| text.get(..end).filter(|base| is_attribute(base)));
        let Some(base) = base else { return Self::plain(text) };
        let rest = text.get(base.len()..).unwrap_or_default().trim_start_matches('.');
        let mut key = Self::plain(base);
        let mut parts: Vec<&str> = rest.split('.').filter(|part| !part.is_empty()).collect();
        if base == "geometry.load" && !parts.is_empty() {
            key.base = Name::new(&format!("{base}.{}", parts.remove(0)));
        }
        let mut scope = Vec::new();
        for part in parts {
            match part {
                "low" => key.limit = Limit::Low,
                "high" => key.limit = Limit::High,
                _ if is_numbered(part, "acfmso") && key.letter.is_empty() => key.letter = Name::new(part),
                _ if is_numbered(part, "zjx") => scope.push(part),
                _ => return Self::plain(text),
            }
        }
        key.scope = match scope.as_slice() {
            [] => Name::default(),
            [single] => Name::new(single),
            all => Name::new(&all.join(".")),
        };
        key
    }

    /// Returns the facet that the attribute belongs to.
    pub fn facet(&self) -> &'static str {
        self.base.facet()
    }

    /// Orders keys as the canonical form writes them.
    pub fn written_order(&self, other: &Self) -> Ordering {
        let rank = |key: &Self| {
            let at = key.base.place();
            // Within the first block letter goes before attribute; behind it attribute before letter.
            let block = at > LAST_OF_PLY_BLOCK;
            let letter = (key.letter.len(), key.letter);
            let first = if block { (0, Name::default()) } else { letter };
            (key.scope, block, first, at, key.base, letter, key.limit)
        };
        rank(self).cmp(&rank(other))
    }
}

fn is_attribute(text: &str) -> bool {
    Name::known(text).is_some_and(|name| name.place() < ORDER.len())
}

fn is_numbered(part: &str, letters: &str) -> bool {
    let mut chars = part.chars();
    chars.next().is_some_and(|first| letters.contains(first)) && chars.all(|c| c.is_ascii_digit())
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.base)?;
        match self.limit {
            Limit::Nominal => {}
            Limit::Low => f.write_str(".low")?,
            Limit::High => f.write_str(".high")?,
            Limit::Share => f.write_str(".share")?,
        }
        for part in [&self.letter, &self.scope] {
            if !part.is_empty() {
                write!(f, ".{part}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_read_back_as_they_are_written() {
        for text in [
            "fibre.name.a",
            "resin-content.high.a2",
            "resin-content.route.a",
            "resin-content.uptake.c",
            "plies",
            "plies.x1",
            "core-density.c.z2",
            "geometry.load.suction",
            "geometry.width.j1",
            "colour.absorptance.high",
            "resin.name.a.j1.x2",
            "tool.body",
        ] {
            assert_eq!(Key::parse(text).to_string(), text);
        }
        assert!(ORDER.iter().all(|base| base.matches('.').count() <= 1), "`parse` looks at two parts");
        assert_eq!(Key::parse("film-build.max").facet(), "film-build");
        assert_eq!(Key::parse("core-thickness.c").facet(), "core-thickness");
    }
}
