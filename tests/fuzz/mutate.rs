//! Inputs made from others.

/// Splittable generator of Steele, Lea & Flood (OOPSLA 2014), so that a seed gives the same inputs again.
pub(super) struct Mutator(u64);

/// What means something somewhere in what is read.
const WORDS: [&str; 44] = [
    "\n",
    "\r\n",
    "\t",
    "  ",
    ": ",
    "- ",
    "{",
    "}",
    "[",
    "]",
    ",",
    "#",
    "&a ",
    "*a",
    "<<: *a",
    "!!str ",
    "|\n  ",
    ">\n  ",
    "---\n",
    "...\n",
    "null",
    "~",
    "true",
    "-1",
    "0",
    "1e308",
    "1e-400",
    "99999999999999999999",
    ".nan",
    ".inf",
    "mm",
    "um",
    "degC",
    "%",
    "+/- ",
    " to ",
    "layers",
    "material: ",
    "recipe/",
    "\u{feff}",
    "\u{202e}",
    "é",
    "\0",
    "evidence/e-001",
];

impl Mutator {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below another; 0 where that is 0.
    fn below(&mut self, end: usize) -> usize {
        if end == 0 { 0 } else { usize::try_from(self.next() % end as u64).unwrap() }
    }

    /// A stretch of a text.
    fn stretch(&mut self, length: usize, most: usize) -> (usize, usize) {
        let from = self.below(length + 1);
        (from, (from + 1 + self.below(most)).min(length))
    }

    /// An input made from one or two of a corpus.
    pub(super) fn of(&mut self, corpus: &[Vec<u8>]) -> Vec<u8> {
        let mut text = corpus[self.below(corpus.len())].clone();
        for _ in 0..1 + self.below(6) {
            self.change(&mut text, corpus);
        }
        text.truncate(200_000);
        text
    }

    fn change(&mut self, text: &mut Vec<u8>, corpus: &[Vec<u8>]) {
        let at = self.below(text.len() + 1);
        match self.below(10) {
            0 => {
                if let Some(byte) = text.get_mut(at) {
                    *byte ^= 1 << self.below(8);
                }
            }
            1 | 2 => {
                let word = WORDS[self.below(WORDS.len())];
                text.splice(at..at, word.bytes());
            }
            3 => {
                let (from, to) = self.stretch(text.len(), 40);
                text.drain(from.min(to)..to);
            }
            4 => {
                let (from, to) = self.stretch(text.len(), 200);
                let part = text[from.min(to)..to].to_vec();
                text.splice(at..at, part);
            }
            5 => {
                let other = &corpus[self.below(corpus.len())];
                let (from, to) = self.stretch(other.len(), 300);
                text.splice(at..at, other[from.min(to)..to].to_vec());
            }
            6 => {
                // A digit becomes another, or many.
                let digits: Vec<usize> = (0..text.len()).filter(|at| text[*at].is_ascii_digit()).collect();
                if let Some(place) = digits.get(self.below(digits.len())) {
                    let digit = b'0' + u8::try_from(self.below(10)).unwrap();
                    let count = if self.below(4) == 0 { 1 + self.below(40) } else { 1 };
                    text.splice(*place..=*place, std::iter::repeat_n(digit, count));
                }
            }
            7 => {
                // A line goes, comes again, or stands elsewhere.
                let mut lines: Vec<Vec<u8>> =
                    text.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
                let (from, to) = (self.below(lines.len()), self.below(lines.len()));
                match self.below(3) {
                    _ if lines.is_empty() => {}
                    0 => drop(lines.remove(from)),
                    1 => lines.insert(to, lines[from].clone()),
                    _ => lines.swap(from, to),
                }
                *text = lines.concat();
            }
            8 => {
                let byte = b"[{-\" a0"[self.below(7)];
                let most = if self.below(20) == 0 { 20_000 } else { 60 };
                let count = 1 + self.below(most);
                text.splice(at..at, std::iter::repeat_n(byte, count));
            }
            _ => {
                // A value goes to the end of its line.
                if let Some(colon) =
                    text.iter().skip(at).position(|byte| *byte == b':').map(|found| at + found + 1)
                {
                    let end = text
                        .iter()
                        .skip(colon)
                        .position(|byte| *byte == b'\n')
                        .map_or(text.len(), |end| colon + end);
                    let word = WORDS[self.below(WORDS.len())];
                    text.splice(colon..end, format!(" {word}").bytes());
                }
            }
        }
    }
}
