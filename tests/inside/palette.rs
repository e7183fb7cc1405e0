//! The colours of series against published measures of contrast and of colour-blind eyes.

use super::*;

const COLOURS: [RGBColor; 4] = [CURVE, REFERENCE, AHEAD, LOOK];

type Linear = [f64; 3];

fn linear(c: RGBColor) -> Linear {
    [c.0, c.1, c.2].map(|v| {
        let v = f64::from(v) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    })
}

fn luminance(c: RGBColor) -> f64 {
    let [r, g, b] = linear(c);
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// WCAG 2 contrast ratio.
fn contrast(a: RGBColor, b: RGBColor) -> f64 {
    let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
    a.max(b) / a.min(b)
}

/// CIE 1976 L*a*b*, D65.
fn lab([r, g, b]: Linear) -> [f64; 3] {
    let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
    let x = f((0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047);
    let y = f(0.2126729 * r + 0.7151522 * g + 0.0721750 * b);
    let z = f((0.0193339 * r + 0.1191920 * g + 0.9503041 * b) / 1.08883);
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// Vision as it is, and without the long- or middle-wave cones (Machado, Oliveira and Fernandes 2009,
/// severity 1, from memory).
const VISION: [[[f64; 3]; 3]; 3] = [
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
];

#[test]
fn every_series_shows_on_light_and_on_dark_paper() {
    for colour in COLOURS {
        for paper in [RGBColor(255, 255, 255), RGBColor(0x14, 0x18, 0x1c)] {
            assert!(contrast(colour, paper) >= 3.0, "{colour:?} on {paper:?}: {}", contrast(colour, paper));
        }
    }
}

#[test]
fn series_differ_for_colour_blind_eyes() {
    for (i, a) in COLOURS.iter().enumerate() {
        for b in COLOURS.iter().skip(i + 1) {
            for matrix in VISION {
                let see = |c: RGBColor| {
                    let rgb = linear(c);
                    lab(matrix.map(|row| row.iter().zip(rgb).map(|(m, v)| m * v).sum::<f64>().clamp(0.0, 1.0)))
                };
                let far = see(*a).iter().zip(see(*b)).map(|(p, q)| (p - q).powi(2)).sum::<f64>().sqrt();
                // About 2 is just noticeable side by side; 20 is a plain difference at a glance.
                assert!(far >= 20.0, "{a:?} and {b:?}: {far}");
            }
        }
    }
}
