//! How fast a recording goes by. Time is an input.

/// Seconds of the recording for a second of the clock.
const SPEEDS: [f64; 8] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
const USUAL: usize = 2;

/// Where in a recording we are, and how fast it goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct Player {
    speed: usize,
    paused: bool,
    time_s: f64,
    behind: bool,
}

impl Default for Player {
    fn default() -> Self {
        Self { speed: USUAL, paused: false, time_s: 0.0, behind: false }
    }
}

impl Player {
    /// As fast as `speed` or the nearest that there is.
    pub fn at_speed(speed: f64) -> Self {
        let off = |s: f64| (s / speed).ln().abs();
        let nearest = (0..SPEEDS.len()).min_by(|a, b| off(SPEEDS[*a]).total_cmp(&off(SPEEDS[*b])));
        Self { speed: nearest.unwrap_or(USUAL), ..Self::default() }
    }

    /// Seconds of the recording for a second of the clock.
    pub fn speed(&self) -> f64 {
        SPEEDS.get(self.speed).copied().unwrap_or(1.0)
    }

    /// Speed in words.
    pub fn speed_label(&self) -> String {
        match self.speed() {
            s if s < 1.0 => format!("1/{:.0}x", s.recip()),
            s => format!("{s:.0}x"),
        }
    }

    /// Whether it stands still.
    pub fn is_paused(&self) -> bool {
        self.paused
    }

    /// Whether the computer does not keep up.
    pub fn is_behind(&self) -> bool {
        self.behind
    }

    /// Up to where it has gone, seconds.
    pub fn time_s(&self) -> f64 {
        self.time_s
    }

    /// Stand still, or go on.
    pub fn pause(&mut self, paused: bool) {
        self.paused = paused;
    }

    /// Faster by one, or slower.
    pub fn change_speed(&mut self, faster: bool) {
        let next = if faster { self.speed + 1 } else { self.speed.saturating_sub(1) };
        self.speed = next.min(SPEEDS.len() - 1);
    }

    /// So much of the clock has passed: up to where the recording is due now.
    pub fn advance(&mut self, elapsed_s: f64) -> f64 {
        if !self.paused {
            self.time_s += elapsed_s.max(0.0) * self.speed();
        }
        self.behind = false;
        self.time_s
    }

    /// The recording was taken up to here: as a step, or because there was no time for more.
    pub fn hold_at(&mut self, time_s: f64, behind: bool) {
        self.time_s = time_s;
        self.behind = behind;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speeds_go_from_a_quarter_to_thirty_two_and_no_further() {
        let mut player = Player::default();
        let mut labels = vec![player.speed_label()];
        for _ in 0..3 {
            player.change_speed(false);
        }
        labels.push(player.speed_label());
        for _ in 0..9 {
            player.change_speed(true);
        }
        labels.push(player.speed_label());
        assert_eq!(labels, ["1x", "1/4x", "32x"]);
        assert_eq!(player.advance(0.5), 16.0);
    }

    #[test]
    fn no_time_passes_while_paused() {
        let mut player = Player::default();
        player.advance(2.0);
        player.pause(true);
        assert_eq!(player.advance(5.0), 2.0);
        player.pause(false);
        assert_eq!(player.advance(1.0), 3.0);
    }

    #[test]
    fn the_nearest_speed_is_taken() {
        let label = |speed| Player::at_speed(speed).speed_label();
        assert_eq!([0.01, 0.3, 1.0, 5.0, 1e9].map(label), ["1/4x", "1/4x", "1x", "4x", "32x"]);
    }
}
