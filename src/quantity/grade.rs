//! Grades of paint that are no plain number: blisters by size and frequency, adhesion by class and method.

use std::fmt;

/// How many blisters there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Frequency {
    /// `F`: few.
    Few,
    /// `M`: medium.
    Medium,
    /// `MD`: medium dense.
    MediumDense,
    /// `D`: dense.
    Dense,
}

impl Frequency {
    /// All, the fewest first.
    pub const ALL: [Self; 4] = [Self::Few, Self::Medium, Self::MediumDense, Self::Dense];

    /// Returns the letters of the standard.
    pub fn letters(self) -> &'static str {
        match self {
            Self::Few => "F",
            Self::Medium => "M",
            Self::MediumDense => "MD",
            Self::Dense => "D",
        }
    }
}

/// Blistering: the size of the blisters, 10 none to 0 the largest, and how many there are.
///
/// # Source
/// ASTM D714, size numbers and the words few, medium, medium dense, dense (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Blisters {
    /// 10 none to 0 the largest.
    pub size: u8,
    /// `None` exactly where there are none.
    pub frequency: Option<Frequency>,
}

impl Blisters {
    /// Reads `10`, `8F` or `6 MD`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let (digits, letters) = text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()));
        let letters = letters.trim();
        let size = digits.parse::<u8>().ok().filter(|size| *size <= 10).ok_or_else(|| {
            format!("`{text}` is no blistering: a size from 10 (none) to 0 and how many, as `8F`")
        })?;
        let frequency = Frequency::ALL.into_iter().find(|one| one.letters().eq_ignore_ascii_case(letters));
        match (size, letters, frequency) {
            (10, "", _) => Ok(Self { size, frequency: None }),
            (10, ..) => Err(format!("`{text}`: size 10 is no blisters, which have no frequency")),
            (_, "", _) => Err(format!("`{text}` does not say how many blisters there are: F, M, MD or D")),
            (.., Some(frequency)) => Ok(Self { size, frequency: Some(frequency) }),
            (.., None) => Err(format!("`{letters}` is no frequency of blisters: F, M, MD or D")),
        }
    }

    /// Returns whether it is no worse than `limit` in size and in frequency both: blisters no larger and no
    /// more of them.
    ///
    /// `8D` does not hold against `8F`, nor `6F`; no blisters hold against everything. Of two ratings neither
    /// may hold against the other (`8M` and `6F`): the standard orders sizes and frequencies, not the pairs.
    pub fn holds(self, limit: Self) -> bool {
        self.size >= limit.size
            && match (self.frequency, limit.frequency) {
                (None, _) => true,
                (Some(_), None) => false,
                (Some(own), Some(limit)) => own <= limit,
            }
    }
}

impl fmt::Display for Blisters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.size, self.frequency.map_or("", Frequency::letters))
    }
}

/// Adhesion by tape: the class, 5 nothing removed to 0, and the method.
///
/// # Source
/// ASTM D3359: method A, an X through the film, for thick films; method B, a lattice (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Adhesion {
    /// 5 best to 0.
    pub class: u8,
    /// Whether it is of method B, a lattice, rather than A.
    pub lattice: bool,
}

impl Adhesion {
    /// Reads `4A` or `5B`.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let bad = || format!("`{text}` is no class of adhesion: 5 (best) to 0 and the method, as `4B`");
        let (digits, letter) = text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()));
        let class = digits.parse::<u8>().ok().filter(|class| *class <= 5).ok_or_else(bad)?;
        match letter.trim() {
            "A" | "a" => Ok(Self { class, lattice: false }),
            "B" | "b" => Ok(Self { class, lattice: true }),
            _ => Err(bad()),
        }
    }

    /// Returns whether the class is no lower than that of `limit`; `None` where it is of the other method, which
    /// says nothing.
    pub fn holds(self, limit: Self) -> Option<bool> {
        (self.lattice == limit.lattice).then_some(self.class >= limit.class)
    }
}

impl fmt::Display for Adhesion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.class, if self.lattice { 'B' } else { 'A' })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blistering_has_a_size_and_a_frequency() {
        for text in ["10", "8F", "6M", "4MD", "2D", "0D"] {
            assert_eq!(Blisters::parse(text).unwrap().to_string(), text);
        }
        assert_eq!(Blisters::parse(" 8 md ").unwrap().to_string(), "8MD");
        for text in ["", "8", "10F", "11F", "8X", "F8", "8.5F", "-1D", "300F"] {
            assert!(Blisters::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn both_size_and_frequency_have_to_hold() {
        let holds = |own, limit| Blisters::parse(own).unwrap().holds(Blisters::parse(limit).unwrap());
        for (own, limit, expected) in [
            ("10", "8F", true),
            ("8F", "8F", true),
            ("9F", "8F", true),
            ("8M", "8F", false),
            ("6F", "8F", false),
            ("10", "10", true),
            ("9F", "10", false),
            ("8M", "6F", false),
            ("6F", "8M", false),
            ("8M", "6D", true),
        ] {
            assert_eq!(holds(own, limit), expected, "{own} against {limit}");
        }
    }

    #[test]
    fn classes_of_two_methods_say_nothing_of_each_other() {
        let holds = |own, limit| Adhesion::parse(own).unwrap().holds(Adhesion::parse(limit).unwrap());
        assert_eq!(holds("4B", "4B"), Some(true));
        assert_eq!(holds("3B", "4B"), Some(false));
        assert_eq!(holds("5A", "4B"), None);
        for text in ["", "4", "6B", "4C", "B4", "4.5A"] {
            assert!(Adhesion::parse(text).is_err(), "{text}");
        }
    }
}
