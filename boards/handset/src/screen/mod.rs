//! What the person with the mast sees: one figure to read at arm's length, a linear scale below it, and words.
//!
//! Small and large screens are drawn by the same code: letters and gaps differ. Wherever a depth stands, or that nothing
//! was found, its caution stands too.

mod canvas;
mod figures;
mod font;
mod pen;
mod scale;

use core::fmt::Write as _;

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::pixelcolor::BinaryColor;
use heapless::String;
use nullwalk_core::locate::{Guidance, Offset};
use nullwalk_core::record::FaultKind;
use nullwalk_core::verdict::{Fix, Reason, Verdict};
use nullwalk_core::words;

use crate::menu::{Menu, Settings, hertz};
use crate::selftest::{Check, Finding, Progress, Report};
use crate::view::{Count, Page, View};

pub use canvas::Canvas;

use figures::{degrees, metres, whole};
use pen::{Pen, Side};
use scale::Scale;

/// Draw everything.
///
/// # Errors
/// That of the target.
pub fn draw<D: DrawTarget<Color = BinaryColor>>(view: &View<'_>, target: &mut D) -> Result<(), D::Error> {
    let mut pen = Pen::new(target, view.night);
    pen.clear()?;
    Sheet { pen, view }.draw()
}

/// The screen being drawn.
struct Sheet<'a, D> {
    pen: Pen<'a, D>,
    view: &'a View<'a>,
}

/// Something short that is put together.
type Short = String<32>;

/// Put together; what is too long ends early.
fn short(text: core::fmt::Arguments<'_>) -> Short {
    let mut short = Short::new();
    let _ = short.write_fmt(text);
    short
}

impl<D: DrawTarget<Color = BinaryColor>> Sheet<'_, D> {
    fn draw(&mut self) -> Result<(), D::Error> {
        match &self.view.page {
            Page::Testing(report) => self.testing(report),
            Page::Finding(finding, count) => self.finding(*finding, *count),
            Page::Guide(guidance) => self.guide(guidance),
            Page::Waiting => self.words("START", "waiting", "for the first samples."),
            Page::Fix(fix) => self.fix(fix),
            Page::Why(reason, count) => self.reason("WHY", *reason, reason.sentence(), *count),
            Page::Remedy(reason, count) => self.reason("DO", *reason, reason.remedy(), *count),
            Page::Fault(kind, channel) => self.fault(*kind, *channel),
            Page::Menu(menu, settings) => self.menu(*menu, *settings),
            Page::Done(what, more) => self.words("DONE", what, more),
            Page::Closed(why) => {
                self.words("CLOSED", "book closed", why)?;
                let face = self.pen.letters.text;
                let y = self.pen.height - 2 * self.pen.thick();
                self.pen.text(face, "To open it, hold a button.", self.pen.margin(), y, Side::Left)
            }
        }
    }

    /// The bar at the top, ink and paper exchanged: what it is about, and what else there is to know.
    fn bar(&mut self, left: &str, right: &str) -> Result<(), D::Error> {
        let (height, pen) = (self.top(), &mut self.pen);
        let (bold, plain) = (pen.letters.bar, pen.letters.text);
        let base = (height + bold.capital()) / 2;
        pen.fill(0, 0, pen.width, height)?;
        pen.invert();
        pen.text(bold, left, 2 * pen.thick(), base, Side::Left)?;
        // Whole words that fit beside it: nothing is drawn over what is there.
        let room = pen.width - 7 * pen.thick() - bold.width(left);
        let right = right.get(..plain.fits(right, room)).unwrap_or(right);
        pen.text(plain, right, pen.width - 2 * pen.thick(), base, Side::Right)?;
        pen.invert();
        Ok(())
    }

    /// Where the bar ends.
    fn top(&self) -> i32 {
        self.pen.letters.bar.capital() + 3 * self.pen.thick()
    }

    /// What is beside the locate, or else this.
    fn notice_or<'t>(&self, else_this: &'t str) -> &'t str
    where
        Self: 't,
    {
        self.view.notice.unwrap_or(else_this)
    }

    /// A figure with its unit in the middle of the line below the bar. Where that ends.
    fn figure(&mut self, figure: &str, unit: &str) -> Result<i32, D::Error> {
        let y = self.figure_base();
        let (gap, pen) = (2 * self.pen.thick(), &mut self.pen);
        let (face, unit_face) = (pen.letters.figure, pen.letters.unit);
        let width = face.width(figure) + gap + unit_face.width(unit);
        let x = (pen.width - width) / 2;
        pen.text(face, figure, x, y, Side::Left)?;
        // Raised, so that what hangs below its base line stays clear of the scale.
        pen.text(unit_face, unit, x + width, y - gap, Side::Right)?;
        Ok(y)
    }

    /// A range in metres in the same place.
    fn range(&mut self, low: &str, high: &str) -> Result<i32, D::Error> {
        let y = self.figure_base();
        let pen = &mut self.pen;
        let (face, gap, dash) = (pen.letters.figure, 4 * pen.thick(), 6 * pen.thick());
        let width = face.width(low) + face.width(high) + dash + 3 * gap + pen.letters.unit.width("m");
        let mut x = (pen.width - width) / 2;
        pen.text(face, low, x, y, Side::Left)?;
        x += face.width(low) + gap;
        pen.fill(x, y - face.capital() / 2, dash, 2 * pen.thick())?;
        x += dash + gap;
        pen.text(face, high, x, y, Side::Left)?;
        x += face.width(high) + gap;
        pen.text(pen.letters.unit, "m", x, y, Side::Left)?;
        Ok(y)
    }

    /// Base line of the figure.
    fn figure_base(&self) -> i32 {
        self.top() + 2 * self.pen.thick() + self.spare() + self.pen.letters.figure.capital()
    }

    /// A heading in the same place.
    fn heading(&mut self, text: &str) -> Result<i32, D::Error> {
        let face = self.pen.letters.heading;
        let y = self.top() + 3 * self.pen.thick() + self.spare() + face.capital();
        self.pen.text(face, text, self.pen.width / 2, y, Side::Middle)?;
        Ok(y + 2 * self.pen.thick())
    }

    /// A high screen has this much to spare above and below the figure.
    fn spare(&self) -> i32 {
        (self.pen.height - self.pen.width / 2).max(0) / 4
    }

    /// Sentences from below `y` on. Where they end.
    fn sentences(&mut self, y: i32, text: &str) -> Result<i32, D::Error> {
        let face = self.pen.letters.text;
        let y = self.pen.wrapped(face, text, y + face.line())?;
        Ok(y - face.line())
    }

    /// A bar, a heading and sentences.
    fn words(&mut self, bar: &str, heading: &str, text: &str) -> Result<(), D::Error> {
        self.bar(bar, self.notice_or(&hertz(self.view.tone_hz)))?;
        let y = self.heading(heading)?;
        self.sentences(y, text).map(drop)
    }

    fn testing(&mut self, report: &Report) -> Result<(), D::Error> {
        self.bar("SELF-TEST", "")?;
        let face = if self.pen.is_large() { self.pen.letters.list } else { self.pen.letters.text };
        let step = (self.pen.height - self.top()) / Check::ALL.len() as i32;
        let mut y = self.top() + (step + face.capital()) / 2;
        for check in Check::ALL {
            let said = match report.progress(check) {
                Progress::Waits => "",
                Progress::Runs => "...",
                Progress::Good => "good",
                Progress::Bad => "BAD",
                Progress::Skipped => "skipped",
            };
            self.pen.text(face, check.name(), 2 * self.pen.thick(), y, Side::Left)?;
            self.pen.text(face, said, self.pen.width - 2 * self.pen.thick(), y, Side::Right)?;
            y += step;
        }
        Ok(())
    }

    fn finding(&mut self, finding: Finding, count: Count) -> Result<(), D::Error> {
        let Count { number, of } = count;
        let about = match finding.channel {
            Some(channel) => short(format_args!("channel {channel}")),
            None => short(format_args!("{}", finding.check.name())),
        };
        self.bar(&short(format_args!("BAD {number}/{of}")), &about)?;
        let y = self.sentences(self.top() + self.pen.thick(), finding.sentence())?;
        self.sentences(y, finding.remedy()).map(drop)
    }

    fn reason(&mut self, bar: &str, reason: Reason, text: &str, count: Count) -> Result<(), D::Error> {
        let Count { number, of } = count;
        self.bar(&short(format_args!("{bar} {number}/{of}")), words::reason_word(reason))?;
        let y = self.sentences(self.top() + self.pen.thick(), text)?;
        if matches!(reason, Reason::NoTone | Reason::OtherTone(_)) {
            self.sentences(y, words::CAUTION_NOTHING_BRIEF)?;
        }
        Ok(())
    }

    fn fault(&mut self, kind: FaultKind, channel: Option<u8>) -> Result<(), D::Error> {
        self.bar(
            "FAULT",
            &channel.map_or(Short::new(), |channel| short(format_args!("channel {channel}"))),
        )?;
        let y = self.heading(words::fault(kind))?;
        self.sentences(y, words::remedy(kind)).map(drop)
    }

    fn menu(&mut self, menu: Menu, settings: Settings<'_>) -> Result<(), D::Error> {
        let (lines, at) = (menu.lines(settings), menu.at);
        let count = short(format_args!("{}/{}", at + 1, lines.len()));
        self.bar(menu.title(), &count)?;
        let (top, pen) = (self.list_top(), &mut self.pen);
        let face = pen.letters.list;
        let rows = (pen.height - top).checked_div(face.line() + 2 * pen.thick()).unwrap_or(1).max(1);
        let step = (pen.height - top) / rows;
        // The chosen line stays in sight, with the one after it where there is one.
        let first = (at + 2).min(lines.len()).saturating_sub(rows as usize);
        let mut y = top;
        for (number, line) in lines.iter().enumerate().skip(first).take(rows as usize) {
            let base = y + (step + face.capital()) / 2;
            if number == at {
                pen.fill(0, y, pen.width, step)?;
                pen.invert();
            }
            pen.text(face, &line.name, 3 * pen.thick(), base, Side::Left)?;
            pen.text(pen.letters.text, &line.value, pen.width - 3 * pen.thick(), base, Side::Right)?;
            if number == at {
                pen.invert();
            }
            y += step;
        }
        Ok(())
    }

    /// Where a list begins.
    fn list_top(&self) -> i32 {
        self.top() + self.pen.thick()
    }

    fn guide(&mut self, guidance: &Guidance) -> Result<(), D::Error> {
        let Guidance { phase, turn_rad, offset, trouble, .. } = guidance;
        self.bar(words::phase_word(*phase), self.notice_or(&self.instruction(guidance)))?;
        match (trouble, turn_rad, offset) {
            (Some(Reason::OtherTone(hz)), ..) => {
                let y = self.heading(&short(format_args!("{} is here", hertz(*hz))))?;
                self.sentences(y, words::CAUTION_NOTHING)?;
            }
            (Some(reason @ Reason::NoTone), ..) => {
                let y = self.heading(words::reason_word(*reason))?;
                self.sentences(y, words::CAUTION_NOTHING)?;
            }
            // There is no room for the signal, and it says nothing here.
            (Some(reason), ..) => {
                let y = self.top() + 2 * self.pen.thick() + self.pen.letters.list.capital();
                self.pen.text(
                    self.pen.letters.list,
                    words::reason_word(*reason),
                    self.pen.width / 2,
                    y,
                    Side::Middle,
                )?;
                return self.sentences(y, reason.remedy()).map(drop);
            }
            (None, Some(turn_rad), _) => self.bearing(*turn_rad)?,
            (None, None, Some(offset)) => self.offset(*offset)?,
            (None, None, None) => {
                let (heading, text) = words::without_figure(*phase);
                let y = self.heading(heading)?;
                self.sentences(y, text)?;
            }
        }
        self.signal(guidance.snr_db)
    }

    /// What to do in this phase.
    fn instruction(&self, guidance: &Guidance) -> Short {
        words::instruction(guidance).map_or_else(
            || short(format_args!("{}", hertz(self.view.tone_hz))),
            |text| short(format_args!("{text}")),
        )
    }

    /// Degrees to turn, and the bearing strip.
    fn bearing(&mut self, turn_rad: f32) -> Result<(), D::Error> {
        let deg = degrees(turn_rad);
        let y = self.figure(&whole(deg.abs()), words::turn(deg))?;
        let strip = Scale { y: self.scale_top(y), height: self.scale_height(), share: deg / 90.0 };
        strip.draw_bearing(&mut self.pen)?;
        self.labels(&strip, "90 left", "0", "90 right")
    }

    /// Metres ahead or back, and the offset bar for those aside.
    fn offset(&mut self, offset: Offset) -> Result<(), D::Error> {
        let way = offset.way_m;
        let y = self.figure(&metres(way.x), words::ahead(way.x))?;
        let full_m = scale::full_m(way.y);
        // Left on the screen is left on the ground.
        let share = -way.y / full_m;
        let bar = Scale { y: self.scale_top(y), height: self.scale_height(), share };
        bar.draw_offset(&mut self.pen)?;
        let aside = short(format_args!("{} {}", metres(way.y), words::aside(way.y)));
        let end = short(format_args!("{} m", scale::end_label(full_m)));
        self.labels(&bar, &end, &aside, &end)
    }

    /// Top of a scale below a figure whose base line is `y`.
    fn scale_top(&self, y: i32) -> i32 {
        y + 2 * self.pen.thick() + self.spare()
    }

    fn scale_height(&self) -> i32 {
        if self.pen.is_large() { 16 } else { 8 }
    }

    /// What the ends and the middle of a scale mean, below it.
    fn labels(&mut self, scale: &Scale, left: &str, middle: &str, right: &str) -> Result<(), D::Error> {
        let pen = &mut self.pen;
        let (face, bold, margin) = (pen.letters.text, pen.letters.bar, pen.margin());
        let y = scale.y + scale.height + 2 * pen.thick() + face.capital();
        pen.text(face, left, margin, y, Side::Left)?;
        pen.text(bold, middle, pen.width / 2, y, Side::Middle)?;
        pen.text(face, right, pen.width - margin, y, Side::Right)
    }

    fn signal_height(&self) -> i32 {
        self.pen.letters.text.capital() + 3 * self.pen.thick()
    }

    /// The signal bar at the bottom, with the rung beside it.
    fn signal(&mut self, snr_db: f32) -> Result<(), D::Error> {
        let height = self.signal_height();
        let rung = if self.view.held { "held" } else { "rung" };
        let label = short(format_args!("{} dB  {rung} {}", whole(snr_db.max(0.0)), self.view.rung));
        let pen = &mut self.pen;
        let face = pen.letters.text;
        let (y, gap) = (pen.height - height, 3 * pen.thick());
        // As wide as with the longest label, so that the bar does not jump.
        let right = pen.width - pen.margin() - face.width("88 dB  rung 8") - gap;
        pen.frame(0, y, right, height - pen.thick())?;
        let most = right - 4 * pen.thick();
        let filled = (most as f32 * (snr_db / SIGNAL_DB).clamp(0.0, 1.0)) as i32;
        pen.fill(2 * pen.thick(), y + 2 * pen.thick(), filled, height - 5 * pen.thick())?;
        pen.text(face, &label, pen.width - pen.margin(), y + pen.thick() + face.capital(), Side::Right)
    }

    fn fix(&mut self, fix: &Fix) -> Result<(), D::Error> {
        let judgement = &fix.judgement;
        let reasons = judgement.reasons.as_slice();
        let why = match reasons {
            [] => short(format_args!("95 %")),
            [only] => short(format_args!("{}", words::reason_word(*only))),
            [first, more @ ..] => short(format_args!("{} +{}", words::reason_word(*first), more.len())),
        };
        self.bar(words::verdict_word(judgement.verdict), self.notice_or(&why))?;
        let range = judgement.range.filter(|_| judgement.verdict != Verdict::Refuse);
        let Some(range) = range else {
            let y = self.heading("no figure")?;
            let y = self.sentences(y, words::CAUTION_NOTHING)?;
            return self.sentences(y, "Down: why.").map(drop);
        };
        let y = self.range(&metres(range.low_m), &metres(range.high_m))? + self.spare();
        let bound = match judgement.shallow_m {
            Some(bound) => short(format_args!("to source; shallow {} m", metres(bound))),
            None => short(format_args!("down to the source")),
        };
        let y = self.sentences(y, &bound)?;
        self.sentences(y, words::CAUTION_DEPTH).map(drop)
    }
}

/// The signal bar is full at this ratio to the noise, decibels.
const SIGNAL_DB: f32 = 60.0;

#[cfg(test)]
mod tests {
    use nullwalk_core::locate::Phase;

    use super::*;

    /// What stands in the bar, on the left and on the right.
    fn bars() -> std::vec::Vec<(&'static str, &'static str)> {
        let notices = FaultKind::ALL.map(words::fault).into_iter().chain(["part faulty", "battery low"]);
        let instructions = [
            "45° down, repeat",
            "gain too high",
            "it is behind you",
            "walk towards it",
            "pass both nulls",
            "walk across",
            "hold still there",
        ];
        let right: std::vec::Vec<_> = notices.chain(instructions).collect();
        let bracketing = |text: &&str| !text.contains("repeat");
        let phases = [Phase::Listen, Phase::Home, Phase::Settle].map(words::phase_word);
        let both = |left: &'static str| right.iter().map(move |right| (left, *right));
        phases
            .into_iter()
            .flat_map(both)
            .chain(right.iter().filter(|text| bracketing(text)).map(|text| ("BRACKET", *text)))
            .collect()
    }

    #[test]
    fn both_sides_of_the_bar_fit_it() {
        for (width, letters) in [(128, &pen::SMALL), (256, &pen::LARGE)] {
            let thick = if width == 128 { 1 } else { 2 };
            for (left, right) in bars() {
                let used = letters.bar.width(left) + letters.text.width(right) + 7 * thick;
                assert!(used <= width, "{left} and {right} take {used} of {width}");
            }
        }
    }
}
