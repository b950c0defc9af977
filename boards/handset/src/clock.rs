//! The sampling clock against the board's.

/// Time over which the two are compared, seconds: an interrupt that comes a period late is then 13 ppm at 8 kHz.
const OVER_S: u32 = 10;
/// Two crystals of 50 ppm each stay within this, parts per million (common practice, no source).
const LIMIT_PPM: i64 = 100;

/// Compares how many samples came with how many should have.
#[derive(Debug, Clone)]
pub struct ClockWatch {
    rate_hz: u32,
    ticks_hz: u32,
    /// Number and tick of the sample last compared.
    since: Option<(u64, u32)>,
}

impl ClockWatch {
    /// For samples at `rate_hz` whose data-ready is timed by a clock of `ticks_hz`.
    pub const fn new(rate_hz: u32, ticks_hz: u32) -> Self {
        Self { rate_hz, ticks_hz, since: None }
    }

    /// Take in the number and the tick of a sample, at least once a minute. Parts per million by which the samples come
    /// too fast, where that is more than crystals explain.
    pub fn push(&mut self, index: u64, tick: u32) -> Option<i32> {
        let (first, began) = *self.since.get_or_insert((index, tick));
        let ticks = tick.wrapping_sub(began);
        if ticks < self.ticks_hz.saturating_mul(OVER_S) {
            return None;
        }
        self.since = Some((index, tick));
        let samples = u64::from(u32::try_from(index.wrapping_sub(first)).ok()?);
        let due = samples.wrapping_mul(u64::from(self.ticks_hz)).checked_div(u64::from(self.rate_hz))?;
        let ahead = (due as i64).wrapping_sub(i64::from(ticks));
        let ppm = ahead.checked_mul(1_000_000)?.checked_div(i64::from(ticks))?;
        (ppm.abs() > LIMIT_PPM).then(|| ppm.clamp(-999_999, 999_999) as i32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is said in a minute of 8000 samples a second that come `ppm` too fast, with a clock that wraps.
    fn said(ppm: f64) -> std::vec::Vec<i32> {
        let mut watch = ClockWatch::new(8000, 1_000_000);
        let tick = |n: u64| (4.29e9 + 125.0 * n as f64 / (1.0 + ppm * 1e-6)) as u64 as u32;
        (0..480_000).step_by(40).filter_map(|n| watch.push(n, tick(n))).collect()
    }

    #[test]
    fn crystals_pass_and_a_wrong_clock_is_told_by_how_much() {
        assert_eq!(said(0.0), []);
        assert_eq!(said(-90.0), []);
        for ppm in [200.0, -200.0, 5000.0] {
            let told = said(ppm);
            assert_eq!(told.len(), 5);
            assert!(told.iter().all(|told| (f64::from(*told) - ppm).abs() < 30.0), "{ppm}: {told:?}");
        }
    }

    #[test]
    fn an_index_that_jumps_is_survived() {
        let mut watch = ClockWatch::new(8000, 1_000_000);
        watch.push(u64::MAX, 0);
        assert!(watch.push(0, 20_000_000).is_some_and(|ppm| ppm < -999_000));
        assert_eq!(watch.push(u64::MAX / 2, 40_000_000), None);
        assert_eq!(ClockWatch::new(0, 0).push(1, 1), None);
    }
}
