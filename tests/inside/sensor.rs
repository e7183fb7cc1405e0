//! What lies between the truth and a logged row: noise, bubbles, foam, rounding.

use super::*;

#[test]
fn gas_lifts_only_and_follows_the_rate() {
    let mut draw = Stream::new(5, "sensor", 0);
    let sensor = Sensor::draw(&mut draw, 1.0, 1.0);
    let mean = |rate: f64, draw: &mut Stream| {
        let mut now = SensorState::fresh(draw);
        let mut sum = 0.0;
        for _ in 0..20_000 {
            now.step(draw, &sensor, 0.25, rate);
            assert!(now.gas_ml >= 0.0 && now.foam_g >= 0.0);
            sum += now.gas_ml;
        }
        sum / 20_000.0
    };
    let (still, slow, fast) = (mean(0.0, &mut draw), mean(0.0075, &mut draw), mean(0.015, &mut draw));
    assert_eq!(still, 0.0);
    assert!((fast / slow - 2.0).abs() < 0.2, "{slow} {fast}");
    assert!((fast / sensor.gas_ml - 0.87).abs() < 0.15, "{fast} of {}", sensor.gas_ml);
}

#[test]
fn noise_has_the_stated_spread_and_memory() {
    let mut draw = Stream::new(6, "sensor", 0);
    let mut sensor = Sensor::draw(&mut draw, 1.0, 0.0);
    sensor.slow_h = 2.0;
    let mut now = SensorState::fresh(&mut draw);
    let noise: Vec<f64> = (0..40_000)
        .map(|_| {
            now.step(&mut draw, &sensor, 0.25, 0.0);
            now.noise_deg(&mut draw, &sensor, 0.0, true)
        })
        .collect();
    let n = noise.len() as f64;
    let variance = noise.iter().map(|v| v * v).sum::<f64>() / n;
    let lag4 = noise.windows(5).map(|w| w[0] * w[4]).sum::<f64>() / n;
    let want = sensor.white_deg.powi(2) + sensor.slow_deg.powi(2);
    assert!((variance / want - 1.0).abs() < 0.1);
    assert!((lag4 / (sensor.slow_deg.powi(2) * (-0.5f64).exp()) - 1.0).abs() < 0.25);
}

#[test]
fn rounding_leaves_short_decimals() {
    assert_eq!(rounded(25.123_456, 0.01), 25.12);
    assert_eq!(rounded(19.96, 0.1), 20.0);
}
