//! Exposure trials of painted panels: sites, properties that are read in time, limits of the readings.

use super::{part, word_set};
use crate::quantity::{Adhesion, Blisters, ExposureUnit};
use crate::record::{Day, Figure, Text};
use std::collections::BTreeMap;
use std::fmt;

word_set! {
    /// How a site exposes its panels. Accelerated and outdoor exposure are two kinds of evidence that are never
    /// pooled, and hours of the one are never turned into months of the other.
    pub enum SiteKind {
        /// On a rack in the weather, counted in months.
        Outdoor = "outdoor",
        /// In a cabinet, counted in hours.
        Accelerated = "accelerated",
        /// The control: kept in the dark, judged by no limit.
        Dark = "dark",
    }
}

impl SiteKind {
    /// Returns what its exposure is counted in; the dark takes either.
    pub fn unit(self) -> Option<ExposureUnit> {
        match self {
            Self::Outdoor => Some(ExposureUnit::Months),
            Self::Accelerated => Some(ExposureUnit::Hours),
            Self::Dark => None,
        }
    }
}

word_set! {
    /// What is read of a panel. Methods from memory.
    pub enum Property {
        /// Specular gloss at 20 degrees, gloss units (ASTM D523).
        Gloss20 = "gloss-20",
        /// Specular gloss at 60 degrees, gloss units.
        Gloss60 = "gloss-60",
        /// Specular gloss at 85 degrees, gloss units.
        Gloss85 = "gloss-85",
        /// Gloss over the gloss at exposure 0; worked out where the gloss was read.
        GlossRetention = "gloss-retention",
        /// CIELAB L*.
        ColourL = "colour-L",
        /// CIELAB a*.
        ColourA = "colour-a",
        /// CIELAB b*.
        ColourB = "colour-b",
        /// Distance in CIELAB to the colour at exposure 0 (ASTM D2244); worked out where L, a and b were read.
        ColourDifference = "colour-difference",
        /// The same by CIEDE2000.
        ColourDifference2000 = "colour-difference-2000",
        /// Chalking, 10 none to 0 (ASTM D4214).
        Chalking = "chalking",
        /// Cracking, 10 none to 0 (ASTM D661).
        Cracking = "cracking",
        /// Checking, 10 none to 0 (ASTM D660).
        Checking = "checking",
        /// Flaking, 10 none to 0 (ASTM D772).
        Flaking = "flaking",
        /// Erosion, 10 none to 0 (ASTM D662).
        Erosion = "erosion",
        /// Blistering, size and frequency: `10`, `8F` (ASTM D714).
        Blistering = "blistering",
        /// Class of adhesion by tape, `4B` (ASTM D3359).
        Adhesion = "adhesion",
        /// Pull-off strength (ASTM D4541).
        PullOff = "pull-off",
        /// Dry film thickness.
        FilmThickness = "film-thickness",
        /// Waviness of print-through, as the profile says (ISO 21920).
        Waviness = "waviness",
        /// Mass of the panel.
        Mass = "mass",
        /// Mass gained since exposure 0, over that mass; worked out where the mass was read.
        MassChange = "mass-change",
    }
}

/// What a property is read in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// A number in a unit; a bare one where that is empty.
    Measure(&'static str),
    /// 10 best to 0.
    Rating,
    /// Size and frequency.
    Blisters,
    /// Class and method.
    Adhesion,
}

/// A value of a property.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Graded {
    /// A number in the unit of the property, or a rating.
    Number(f64),
    /// Size and frequency.
    Blisters(Blisters),
    /// Class and method.
    Adhesion(Adhesion),
}

impl Property {
    /// All properties.
    pub const ALL: [Self; 21] = [
        Self::Gloss20,
        Self::Gloss60,
        Self::Gloss85,
        Self::GlossRetention,
        Self::ColourL,
        Self::ColourA,
        Self::ColourB,
        Self::ColourDifference,
        Self::ColourDifference2000,
        Self::Chalking,
        Self::Cracking,
        Self::Checking,
        Self::Flaking,
        Self::Erosion,
        Self::Blistering,
        Self::Adhesion,
        Self::PullOff,
        Self::FilmThickness,
        Self::Waviness,
        Self::Mass,
        Self::MassChange,
    ];

    /// Returns the property called so.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.word() == word)
    }

    /// Returns what it is read in.
    pub fn scale(self) -> Scale {
        match self {
            Self::GlossRetention | Self::MassChange => Scale::Measure("%"),
            Self::PullOff => Scale::Measure("MPa"),
            Self::FilmThickness | Self::Waviness => Scale::Measure("um"),
            Self::Mass => Scale::Measure("g"),
            Self::Chalking | Self::Cracking | Self::Checking | Self::Flaking | Self::Erosion => Scale::Rating,
            Self::Blistering => Scale::Blisters,
            Self::Adhesion => Scale::Adhesion,
            _ => Scale::Measure(""),
        }
    }

    /// Returns the unit that it is read in; empty for a rating, a class and a bare number.
    pub fn unit(self) -> &'static str {
        match self.scale() {
            Scale::Measure(unit) => unit,
            _ => "",
        }
    }

    /// Returns a value of it with its unit, rounded to what a reading holds.
    pub fn shown(self, value: Graded) -> String {
        format!("{value} {}", self.unit()).trim_end().to_string()
    }

    /// Returns whether it says something only against its reading at exposure 0.
    pub fn needs_start(self) -> bool {
        self.is_gloss() || self.is_coordinate() || self == Self::Mass
    }

    /// Returns whether it is a gloss in gloss units.
    pub fn is_gloss(self) -> bool {
        matches!(self, Self::Gloss20 | Self::Gloss60 | Self::Gloss85)
    }

    /// Returns whether it is a coordinate of a colour.
    pub fn is_coordinate(self) -> bool {
        matches!(self, Self::ColourL | Self::ColourA | Self::ColourB)
    }

    /// Looks whether a reading in its own unit is one that an instrument can show.
    ///
    /// # Errors
    /// What it must be, in words.
    ///
    /// # Source
    /// Gloss of metal mirrors reaches 2000 units at 20 degrees (ISO 2813, from memory); L* runs from 0, black,
    /// to 100, the perfect diffuser (CIE 15, from memory); a* and b* of surfaces stay within 200 (common
    /// practice, no source).
    pub fn fits(self, value: f64) -> Result<(), &'static str> {
        let (fits, words) = match self {
            Self::Gloss20 | Self::Gloss60 | Self::Gloss85 => {
                ((0.0..=2000.0).contains(&value), "from 0 to 2000 gloss units")
            }
            Self::ColourL => ((0.0..=100.0).contains(&value), "from 0 to 100"),
            Self::ColourA | Self::ColourB => ((-200.0..=200.0).contains(&value), "from -200 to 200"),
            Self::FilmThickness | Self::Mass => (value > 0.0, "more than 0"),
            Self::MassChange => (value >= -100.0, "-100 % or more"),
            Self::GlossRetention
            | Self::ColourDifference
            | Self::ColourDifference2000
            | Self::PullOff
            | Self::Waviness => (value >= 0.0, "0 or more"),
            Self::Chalking | Self::Cracking | Self::Checking | Self::Flaking | Self::Erosion => {
                ((0.0..=10.0).contains(&value), "from 10 (best) to 0")
            }
            // Their scales say what a class is.
            Self::Blistering | Self::Adhesion => (true, ""),
        };
        if fits { Ok(()) } else { Err(words) }
    }

    /// Reads a value written with its unit, such as a limit: `70 %`, `8`, `8F`, `4B`, `400 um`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn value(self, text: &str) -> Result<Graded, String> {
        match self.scale() {
            Scale::Blisters => Blisters::parse(text).map(Graded::Blisters),
            Scale::Adhesion => Adhesion::parse(text).map(Graded::Adhesion),
            Scale::Rating => rating(text),
            Scale::Measure(unit) => {
                let figure = Figure::parse(text)?;
                // A percentage would pass for a bare number.
                let fits = !unit.is_empty() || figure.unit().is_empty();
                figure.number_in(unit).filter(|_| fits).map(Graded::Number).ok_or_else(|| match unit {
                    "" => format!("`{text}`: {self} has no unit"),
                    unit => format!("`{text}` is no {self}: it is read in {unit}"),
                })
            }
        }
    }
}

/// A rating of 10 to 0.
fn rating(text: &str) -> Result<Graded, String> {
    let number = text.trim().parse::<f64>().ok().filter(|number| (0.0..=10.0).contains(number));
    number.map(Graded::Number).ok_or_else(|| format!("`{text}` is no rating from 10 (best) to 0"))
}

impl Graded {
    /// Returns whether it is at `least` or better; `None` where the two can't be compared.
    pub fn is_at_least(self, least: Self) -> Option<bool> {
        match (self, least) {
            // Figures are read from decimal text; a billionth absorbs the conversion of units.
            (Self::Number(own), Self::Number(least)) => Some(own >= least - least.abs() * 1e-9),
            (Self::Blisters(own), Self::Blisters(least)) => Some(own.holds(least)),
            (Self::Adhesion(own), Self::Adhesion(least)) => own.holds(least),
            _ => None,
        }
    }

    /// Returns whether it is at `most` or below; `None` where the two can't be compared.
    pub fn is_at_most(self, most: Self) -> Option<bool> {
        match (self, most) {
            (Self::Number(own), Self::Number(most)) => Some(own <= most + most.abs() * 1e-9),
            _ => None,
        }
    }

    /// Returns the number, where it is one.
    pub fn number(self) -> Option<f64> {
        match self {
            Self::Number(number) => Some(number),
            _ => None,
        }
    }
}

impl fmt::Display for Graded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            // The 0 takes the sign from what rounds to nothing.
            Self::Number(number) => write!(f, "{}", (number * 100.0).round() / 100.0 + 0.0),
            Self::Blisters(own) => own.fmt(f),
            Self::Adhesion(own) => own.fmt(f),
        }
    }
}

part! {
    /// One site of a trial.
    pub struct Site {
        /// How it exposes its panels.
        pub kind: SiteKind,
        /// The method with its year, and the cycle of a cabinet.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub method: Option<Text>,
        /// The day on which the panels were put out; outdoor readings are due by it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub start: Option<Day>,
        /// Labels of the panels that hang there; those that were read where absent.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pub panels: Vec<Text>,
    }
}

part! {
    /// What stands for a whole exposure trial; the readings stand in the data file.
    pub struct Trial {
        /// Sites by the names that the readings give.
        #[serde(deserialize_with = "crate::record::unique::map")]
        pub sites: BTreeMap<String, Site>,
    }
}

word_set! {
    /// When a limited property is read.
    pub enum ReadWhen {
        /// At every planned reading.
        Each = "each",
        /// At the last planned reading; a test that destroys the film.
        End = "end",
    }
}

part! {
    /// The limit of one property, held at every reading.
    pub struct ReadingLimit {
        /// What is read.
        pub property: Property,
        /// Least value: `70 %`, a rating `8`, blistering `8F` (size and frequency both), adhesion `4B`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_least: Option<Text>,
        /// Greatest value, of a property that is a number.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub at_most: Option<Text>,
        /// The only kind of exposure that it is asked of; outdoor and accelerated where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub exposure: Option<SiteKind>,
        /// When it has to be read; at every planned reading where absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub when: Option<ReadWhen>,
    }
}

impl ReadingLimit {
    /// Returns whether it is asked of a kind of exposure; never of the dark.
    pub fn asks(&self, kind: SiteKind) -> bool {
        kind != SiteKind::Dark && self.exposure.is_none_or(|own| own == kind)
    }

    /// Returns the limit in words, without its property: `at least 70 %`.
    pub fn bounds(&self) -> String {
        let least = self.at_least.as_ref().map(|least| format!("at least {least}"));
        let most = self.at_most.as_ref().map(|most| format!("at most {most}"));
        least.into_iter().chain(most).collect::<Vec<_>>().join(" and ")
    }

    /// Returns the limit in words: `gloss-retention at least 70 %`.
    pub fn words(&self) -> String {
        let only = self.exposure.map_or_else(String::new, |kind| format!(" ({kind} only)"));
        format!("{} {}{only}", self.property, self.bounds())
    }

    /// Returns whether a value is within the limits; `None` where it can't be compared with them.
    pub fn holds(&self, value: Graded) -> Option<bool> {
        let read = |text: &Option<Text>| text.as_ref().map(|text| self.property.value(text.as_str()).ok());
        let least = read(&self.at_least).map(|limit| value.is_at_least(limit?));
        let most = read(&self.at_most).map(|limit| value.is_at_most(limit?));
        least.into_iter().chain(most).try_fold(true, |all, one| Some(all & one?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(yaml: &str) -> ReadingLimit {
        serde_yaml::from_str(yaml).unwrap()
    }

    #[test]
    fn limits_hold_in_the_scale_of_their_property() {
        let gloss = limit("{property: gloss-retention, at_least: 70 %}");
        assert_eq!(gloss.holds(Graded::Number(70.0)), Some(true));
        assert_eq!(gloss.holds(Graded::Number(69.9)), Some(false));
        let film = limit("{property: film-thickness, at_least: 0.1 mm, at_most: 400 um}");
        assert_eq!(film.holds(Graded::Number(100.0)), Some(true));
        assert_eq!(film.holds(Graded::Number(401.0)), Some(false));
        assert_eq!(film.holds(Graded::Number(99.0)), Some(false));
        let blisters = limit("{property: blistering, at_least: 8F}");
        assert_eq!(blisters.holds(Graded::Blisters(Blisters::parse("8M").unwrap())), Some(false));
        let adhesion = limit("{property: adhesion, at_least: 4B}");
        assert_eq!(adhesion.holds(Graded::Adhesion(Adhesion::parse("5A").unwrap())), None);
        assert_eq!(adhesion.holds(Graded::Number(5.0)), None);
    }

    #[test]
    fn the_dark_is_asked_nothing() {
        let both = limit("{property: chalking, at_least: 8}");
        assert!(
            both.asks(SiteKind::Outdoor) && both.asks(SiteKind::Accelerated) && !both.asks(SiteKind::Dark)
        );
        let one = limit("{property: chalking, at_least: 8, exposure: outdoor}");
        assert!(one.asks(SiteKind::Outdoor) && !one.asks(SiteKind::Accelerated));
    }

    #[test]
    fn values_are_read_in_the_unit_of_the_property() {
        assert_eq!(Property::FilmThickness.value("0.2 mm"), Ok(Graded::Number(200.0)));
        assert!(Property::FilmThickness.value("200").is_err());
        assert!(Property::ColourDifference.value("3 %").is_err());
        assert!(Property::Chalking.value("11").is_err() && Property::Chalking.value("nan").is_err());
        for property in Property::ALL {
            assert_eq!(Property::named(property.word()), Some(property));
        }
    }
}
