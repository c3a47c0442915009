//! Values computed by hand and by numerical integration, for a mean of 90 days.

use palpebra::domain::growth::Lifetimes;

const DAYS: [f64; 6] = [14.0, 28.0, 42.0, 56.0, 84.0, 112.0];

/// Lifetimes of a gamma shape; the fixed lifetime is the limit of a shape without bound, and a spread
/// of a thousandth is as near to it as a set may come.
fn shares(cv: f64) -> [f64; 6] {
    DAYS.map(|days| Lifetimes::parse(90.0, cv).unwrap().survival(days))
}

#[test]
fn the_shares_of_known_laws_come_out() {
    let table: [(&str, f64, [f64; 6]); 6] = [
        ("fixed", 0.001, [0.844_444, 0.688_889, 0.533_333, 0.377_778, 0.066_667, 0.0]),
        ("Erlang 16", 0.25, [0.844_444, 0.688_890, 0.533_525, 0.381_066, 0.133_920, 0.026_315]),
        ("Erlang 9", 1.0 / 3.0, [0.844_445, 0.688_986, 0.535_241, 0.389_782, 0.164_819, 0.052_012]),
        ("Erlang 4", 0.5, [0.844_574, 0.691_671, 0.547_748, 0.419_801, 0.226_039, 0.110_692]),
        ("gamma 2.5", 2.5_f64.powf(-0.5), [0.845_464, 0.698_279, 0.565_148, 0.449_646, 0.273_194, 0.159_149]),
        ("exponential", 1.0, [0.855_940, 0.732_632, 0.627_089, 0.536_750, 0.393_241, 0.288_101]),
    ];
    for (law, cv, expected) in table {
        for ((ours, theirs), days) in shares(cv).into_iter().zip(expected).zip(DAYS) {
            assert!((ours - theirs).abs() <= 1e-6, "{law} on day {days}: {ours}, expected {theirs}");
        }
    }
}

#[test]
fn values_by_hand_come_out() {
    let at = |mean: f64, cv: f64, days: f64| Lifetimes::parse(mean, cv).unwrap().survival(days);
    let near = |ours: f64, by_hand: f64| assert!((ours - by_hand).abs() < 1e-12, "{ours}, by hand {by_hand}");
    near(at(90.0, 0.001, 42.0), 8.0 / 15.0);
    // Erlang 2 at its mean: ∫ of (1 + λu)e^(−λu) from 2/λ on is (4/λ)e⁻², and 1/μ = λ/2.
    near(at(90.0, 0.5_f64.sqrt(), 90.0), 2.0 * (-2.0_f64).exp());
    near(at(90.0, 1.0, 90.0), (-1.0_f64).exp());
}
