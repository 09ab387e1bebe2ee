//! Random numbers that a seed gives again.

/// A small generator of random numbers: the same on every machine.
///
/// # Source
/// Steele, Lea & Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014 (the constants are from
/// memory of its public-domain reference code).
#[derive(Debug)]
pub struct SplitMix(pub u64);

impl SplitMix {
    /// The next 64 bits.
    #[allow(clippy::should_implement_trait)] // It never ends, and nobody iterates over it.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform above 0, at most 1.
    pub fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal, by Box & Muller 1958.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        radius * libm::cos(std::f64::consts::TAU * self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs of the reference code for seed 1234567, as printed with public implementations in many
    /// languages (from memory).
    #[test]
    fn generator_gives_the_reference_sequence() {
        let mut numbers = SplitMix(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| numbers.next()).collect();
        assert_eq!(first, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
    }
}
