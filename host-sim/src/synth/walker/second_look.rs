//! Looking again, when a lane gave no mark or the mark has moved.

use std::f64::consts::PI;

use glam::DVec2;

use super::motion::Motion;
use super::technician::Technician;

/// The mark is hit when it is nearer than this, metres.
pub const ON_THE_MARK_M: f64 = 0.03;
/// Time to let the instrument think before correcting, seconds.
const PAUSE_S: f64 = 0.6;
/// Time to stop and think after a lane that gave no mark, seconds.
pub const STOP_S: f64 = 1.5;

impl Technician {
    /// A lane that gave no mark missed a null. Walk one over the place where the source is thought to be; where that is
    /// unknown, walk the same way back, and if that fails, home in once more.
    pub(super) fn again(&mut self, length_m: f64, tries: u8) {
        if tries == 0 || self.mark().is_some() {
            return;
        }
        let tries = tries - 1;
        let source = self.cue.source_enu_m.map(DVec2::from_array).filter(|source| source.is_finite());
        let motions = if let Some(source) = source {
            let mut motions = self.lane_over(source, self.lay(), length_m);
            motions.extend([Motion::Hold { seconds: STOP_S }, Motion::Again { length_m, tries }]);
            motions
        } else if tries % 2 == 1 {
            let back = Motion::Face(self.heading.value + PI);
            vec![back, Motion::Onward { max_m: length_m, tries }]
        } else {
            vec![Motion::Follow { max_m: length_m }, Motion::Onward { max_m: length_m, tries }]
        };
        for motion in motions.into_iter().rev() {
            self.motions.push_front(motion);
        }
    }

    /// Put the way to the mark before the motions that are left, with another look after it.
    pub(super) fn approach(&mut self, corrections: u8) {
        let Some(mark) = self.mark().filter(|mark| mark.distance(self.at) > ON_THE_MARK_M) else {
            return;
        };
        let mut motions = self.go(mark, self.habits.pace_m_s);
        motions.push(Motion::Hold { seconds: PAUSE_S });
        if corrections > 0 {
            motions.push(Motion::Approach { corrections: corrections - 1 });
        }
        for motion in motions.into_iter().rev() {
            self.motions.push_front(motion);
        }
    }
}
