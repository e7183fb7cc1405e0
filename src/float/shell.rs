//! Thermal expansion of a float's shell.

use crate::error::{Error, Result};

/// Linear expansion of a shell per K, with its standard deviation.
///
/// When shell and contents grow alike only the volume changes: a curve of 20 C reads `1 + 3 alpha (T - 20 C)` times too high a density at another.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShellExpansion {
    /// Linear expansion per K.
    pub linear_per_k: f64,
    /// Its standard deviation.
    pub sd_per_k: f64,
}

impl ShellExpansion {
    /// A shell of which nothing is known: the middle of all plastics below.
    pub const UNKNOWN: Self = Self::from_range(15e-6, 200e-6);

    /// The middle of a range and the standard deviation of a uniform distribution over it.
    const fn from_range(low: f64, high: f64) -> Self {
        // 0.288 675 = 1/sqrt(12).
        Self { linear_per_k: 0.5 * (low + high), sd_per_k: 0.288_675 * (high - low) }
    }

    /// The expansion of a named material, or of a number written as text (linear expansion per K, with a tenth of it as
    /// standard deviation).
    ///
    /// Ranges per K from public tables of plastics, which disagree widely: `pet` 15e-6 to 65e-6, `pp` 68e-6 to 100e-6, `pe`
    /// 100e-6 to 200e-6; `glass` 3e-6 to 10e-6 (borosilicate to soda-lime, from memory).
    ///
    /// # Errors
    /// [`Error::Setting`] for any other text and for an expansion outside -1e-4 to 1e-3.
    pub fn parse(text: &str) -> Result<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "pet" => Ok(Self::from_range(15e-6, 65e-6)),
            "pp" => Ok(Self::from_range(68e-6, 100e-6)),
            "pe" => Ok(Self::from_range(100e-6, 200e-6)),
            "glass" => Ok(Self::from_range(3e-6, 10e-6)),
            other => match other.parse::<f64>() {
                Ok(linear_per_k) if (-1e-4..=1e-3).contains(&linear_per_k) => {
                    Ok(Self { linear_per_k, sd_per_k: 0.1 * linear_per_k.abs() })
                }
                _ => Err(Error::setting(
                    "shell",
                    text,
                    "`pet`, `pp`, `pe`, `glass` or a linear expansion per K such as 4e-5",
                )),
            },
        }
    }

    /// Volume at `temp_c` over volume at 20 C: `1 + 3 alpha (T - 20 C)`.
    pub fn volume_factor(&self, temp_c: f64) -> f64 {
        1.0 + 3.0 * self.linear_per_k * (temp_c - 20.0)
    }

    /// Standard deviation that the doubt about the expansion adds to the density, as a fraction of it.
    pub fn relative_sd(&self, temp_c: f64) -> f64 {
        3.0 * self.sd_per_k * (temp_c - 20.0).abs() / self.volume_factor(temp_c)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shell_is_read_by_name_or_number() {
        assert!((ShellExpansion::parse(" PET").unwrap().linear_per_k - 40e-6).abs() < 1e-12);
        assert!((ShellExpansion::parse("6.5e-5").unwrap().linear_per_k - 65e-6).abs() < 1e-12);
        for text in ["", "steel", "NaN", "inf", "1"] {
            assert!(ShellExpansion::parse(text).unwrap_err().to_string().contains("`pet`"), "{text}");
        }
    }

    #[test]
    fn a_warm_shell_makes_the_liquid_seem_denser() {
        let shell = ShellExpansion { linear_per_k: 65e-6, sd_per_k: 10e-6 };
        // The note's figure for PET at its upper end: 10 C more read +0.0020 at SG 1.010.
        assert!((1010.0 - 1010.0 / shell.volume_factor(30.0) - 1.97).abs() < 0.01);
        assert!((shell.relative_sd(30.0) - 3e-4).abs() < 1e-6);
    }
}
