//! Linear mixed models: fixed coefficients and random effects of any grouping, nested or crossed.
//!
//! ```text
//! y = X b + sum_k Z_k u_k + e
//! u_k of each level ~ N(0, G_k), G_k diagonal; independent between levels and groupings
//! e ~ N(0, sigma^2 I + K)
//! ```
//!
//! Each grouping has random effects of one or more columns (an intercept, slopes). K, the known part of the errors, is a
//! variance by row, or none. The variances are those of highest restricted likelihood; intervals of coefficients allow for
//! their being estimates by the method of Kenward and Roger.
//!
//! ```
//! use heelwort::fit::mixed::{Column, Design, Random};
//! let weeks = [0.0, 1.0, 2.0, 3.0].repeat(4);
//! let probes: Vec<&str> = ["dunlin", "knot", "plover", "turnstone"].iter().flat_map(|p| [*p; 4]).collect();
//! let errors =
//!     [0.1, 0.5, 0.6, 1.2, -0.3, 0.1, -0.1, 0.2, 0.4, 0.9, 1.9, 2.3, 0.0, 0.3, 0.2, 0.8];
//! let columns = vec![Column::intercept(16), Column::new("weeks", &weeks)];
//! let design = Design::new(&errors, columns.clone()).random(Random::by_label("probe", &probes, columns));
//! let fit = design.fit()?;
//! let slope = fit.contrast(&[0.0, 1.0], 0.9)?;
//! assert!((slope.value - 0.3).abs() < 0.1 && slope.method == "REML, Kenward-Roger, t");
//! # Ok::<(), heelwort::Error>(())
//! ```
//!
//! The likelihood is a function of the roots of the G_k and of sigma; coefficients and effects follow in closed form (D. Bates, M.
//! Mächler, B. Bolker and S. Walker, J. Stat. Softw. 67(1) (2015); C. R. Henderson, Biometrics 31 (1975) 423). The grouping with most
//! levels takes time in proportion to the rows; what crosses it is dense.
//!
//! A variance of 0 is a result: it is exactly 0.
//!
//! What it does not do: other distributions than the normal; correlated effects of one level; errors that are correlated in an
//! unknown way (whiten them first); groupings by the thousand that cross one another.

mod design;
mod equations;
mod fitted;
mod inference;
mod likelihood;
mod scaled;

pub use design::{Column, Design, Random};
pub use fitted::MixedFit;
