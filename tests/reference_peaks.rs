//! Streaming peaks against scipy.signal.find_peaks. `reference/make_peaks.py` says what was computed.

use nullwalk_core::extrema::{Extrema, Feature, Kind, Prominence};
use nullwalk_core::tone::Overlap;
use nullwalk_tests::reference_data;
use serde::Deserialize;

#[derive(Deserialize)]
struct Signal {
    name: String,
    samples: Vec<f32>,
    found: Vec<Found>,
}

#[derive(Deserialize)]
struct Found {
    min_prominence: f32,
    index: Vec<usize>,
    prominence: Vec<f32>,
    /// Places in `index` that repeat an equally high peak with too shallow a dip between: one peak here.
    repeats: Vec<usize>,
}

impl Found {
    /// Index and prominence of each peak, equal ones counted once.
    fn distinct(&self) -> Vec<(usize, f32)> {
        let pairs = self.index.iter().copied().zip(self.prominence.iter().copied());
        pairs.enumerate().filter(|(k, _)| !self.repeats.contains(k)).map(|(_, pair)| pair).collect()
    }
}

fn peaks(samples: &[f32], least: f32) -> Vec<Feature> {
    // With a noise of one, the prominence asked for in sigmas is the prominence itself.
    let mut search = Extrema::new(Prominence { sigmas: least, share: 0.0 }, Overlap::NONE);
    let mut peaks = Vec::new();
    for &sample in samples {
        search.push(sample, 1.0, |feature| {
            if feature.kind == Kind::Peak {
                peaks.push(feature);
            }
        });
    }
    peaks
}

#[test]
fn peaks_and_their_prominence_agree_with_scipy() {
    let signals: Vec<Signal> = reference_data::document("peaks.json");
    assert!(signals.len() >= 40);
    for Signal { name, samples, found } in &signals {
        for reference in found {
            let least = reference.min_prominence;
            let own = peaks(samples, least);
            let expected = reference.distinct();
            let places: Vec<u32> = own.iter().map(|p| p.index).collect();
            assert_eq!(own.len(), expected.len(), "{name}, {least}: {places:?} against {expected:?}");
            for (peak, (at, prominence)) in own.iter().zip(expected) {
                // scipy names the middle of a plateau, the core its first sample: the same plateau it must be.
                let start = peak.index as usize;
                assert!(
                    start <= at && samples[start..=at].iter().all(|&s| s == samples[at]),
                    "{name}, {least}: peak at {start} against {at}"
                );
                // The core reports as soon as it is sure, so it knows of a part of the prominence only.
                assert!(
                    peak.prominence >= least && peak.prominence <= prominence + 2e-6,
                    "{name}, {least}: prominence {} against {prominence} at {at}",
                    peak.prominence
                );
            }
        }
    }
}
