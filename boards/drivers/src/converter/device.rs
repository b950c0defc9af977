//! The part over a blocking SPI: starting it up, and moving one frame after another.

use core::fmt;
use core::num::NonZeroU32;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use embedded_hal::spi::{MODE_1, Mode, SpiDevice};

use super::register::{CONFIG, MODE, channel_address, clock};
use super::{Clock, Command, Gains, Input, Part, Rate, Register, Sample, Stream, decode};

/// Clock low when idle, data taken on its falling edge. At 8000 samples a second it must run at 2 MHz at least, and
/// better at 8 MHz; the part takes up to 25 MHz.
pub const SPI_MODE: Mode = MODE_1;

/// How long the reset pin is held low. 2048 clocks, 250 us, are a reset; less is a restart of the filters only.
const RESET_US: u32 = 1000;
/// From the end of the reset until the part listens. 5 us by the data sheet, and its oscillator has to start.
const WAKE_US: u32 = 10_000;

/// How the part is to run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setup {
    /// Which part is fitted.
    pub part: Part,
    /// Samples a second.
    pub rate: Rate,
    /// Where its clock comes from.
    pub clock: Clock,
    /// The ladder.
    pub gains: Gains,
    /// Ticks a second of the clock that data-ready is timed by.
    pub ticks_hz: u32,
}

/// Why the part did not start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartError<E> {
    /// The bus failed.
    Bus(E),
    /// The reset pin cannot be driven.
    ResetPin,
    /// The data that come back fail their checksum.
    Garbled,
    /// What answers is not the part that was set.
    NotThePart {
        /// What its identity register says.
        identity: u16,
    },
    /// A command was not carried out.
    NotCarriedOut {
        /// The command word.
        command: u16,
        /// The answer.
        answer: u16,
    },
    /// A register does not hold what was written.
    NotHeld {
        /// Its address.
        address: u8,
        /// What was written.
        written: u16,
        /// What it holds.
        held: u16,
    },
}

impl<E> fmt::Display for StartError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus(_) => f.write_str("The SPI bus to the converter failed."),
            Self::ResetPin => f.write_str("The converter's reset pin cannot be driven."),
            Self::Garbled => f.write_str(
                "The converter's answer fails its checksum: look at clock, select and data wires.",
            ),
            Self::NotThePart { identity } => write!(
                f,
                "Identity {identity:04X} is not the converter that is set (28xx: ADS131M08, 26xx: ADS131M06)."
            ),
            Self::NotCarriedOut { command, answer } => {
                write!(
                    f,
                    "The converter answers {answer:04X} to command {command:04X}: look at its data input."
                )
            }
            Self::NotHeld { address, written, held } => write!(
                f,
                "The converter's register {address:02X} holds {held:04X}, not {written:04X}: look at its supply."
            ),
        }
    }
}

/// The part on a blocking SPI.
///
/// `Err` of the SPI loses the frame, and what was lost is counted by the clock. A board that moves frames by DMA does so
/// between [`stream`](Self::stream) and [`bus`](Self::bus), and comes here to start the part, or to start it again.
#[derive(Debug)]
pub struct Converter<SPI, const C: usize> {
    spi: SPI,
    setup: Setup,
    stream: Stream<C>,
}

impl<SPI: SpiDevice, const C: usize> Converter<SPI, C> {
    /// Reset the part, see that it is the right one, write its settings and read them back.
    ///
    /// # Errors
    /// [`StartError`], in words for the self-test.
    pub fn start(
        mut spi: SPI,
        reset: &mut impl OutputPin,
        delay: &mut impl DelayNs,
        setup: Setup,
    ) -> Result<Self, StartError<SPI::Error>> {
        set_up::<_, C>(&mut spi, reset, delay, &setup)?;
        let period = NonZeroU32::new(setup.ticks_hz / setup.rate.hz()).unwrap_or(NonZeroU32::MIN);
        let stream = Stream::new(setup.part, setup.gains.clone(), period);
        Ok(Self { spi, setup, stream })
    }

    /// Start again after a reset or a loss of sync. Samples go on counting by the clock.
    ///
    /// # Errors
    /// As [`start`](Self::start).
    pub fn restart(
        &mut self,
        reset: &mut impl OutputPin,
        delay: &mut impl DelayNs,
    ) -> Result<(), StartError<SPI::Error>> {
        set_up::<_, C>(&mut self.spi, reset, delay, &self.setup)?;
        self.stream.restarted();
        Ok(())
    }

    /// Let all channels listen to their coils, or to a test inside the part. The stream has paused afterwards.
    ///
    /// # Errors
    /// As [`start`](Self::start).
    pub fn listen_to(&mut self, input: Input) -> Result<(), StartError<SPI::Error>> {
        let mut talk = Talk { spi: &mut self.spi, part: self.setup.part };
        for channel in 0..C as u8 {
            talk.write(channel_address(channel), input as u16)?;
        }
        let rung_0 = self.setup.gains.rung(0).registers();
        talk.write(Register::Gain1 as u8, rung_0)?;
        talk.write(Register::Gain2 as u8, rung_0)?;
        self.stream.restarted();
        Ok(())
    }

    /// Move the frame of a data-ready that came at `tick`, and another where the stream asks for it.
    ///
    /// # Errors
    /// That of the SPI.
    pub fn read(&mut self, tick: u32) -> Result<Option<Sample<C>>, SPI::Error> {
        let sample = self.exchange(tick)?;
        if self.stream.wants_another() {
            self.exchange(tick)?;
        }
        Ok(sample)
    }

    fn exchange(&mut self, tick: u32) -> Result<Option<Sample<C>>, SPI::Error> {
        let mut bytes = self.stream.command();
        let Some(frame) = bytes.get_mut(..self.stream.frame_bytes()) else { return Ok(None) };
        self.spi.transfer_in_place(frame)?;
        Ok(self.stream.take(tick, frame))
    }

    /// The conversation.
    pub fn stream(&mut self) -> &mut Stream<C> {
        &mut self.stream
    }

    /// The bus, for a board that moves frames by DMA: it sends what [`Stream::command`] says, and hands what comes back to
    /// [`Stream::take`].
    pub fn bus(&mut self) -> &mut SPI {
        &mut self.spi
    }

    /// The bus and the conversation.
    pub fn into_parts(self) -> (SPI, Stream<C>) {
        (self.spi, self.stream)
    }
}

fn set_up<SPI: SpiDevice, const C: usize>(
    spi: &mut SPI,
    reset: &mut impl OutputPin,
    delay: &mut impl DelayNs,
    setup: &Setup,
) -> Result<(), StartError<SPI::Error>> {
    reset.set_low().map_err(|_| StartError::ResetPin)?;
    delay.delay_us(RESET_US);
    reset.set_high().map_err(|_| StartError::ResetPin)?;
    delay.delay_us(WAKE_US);

    let mut talk = Talk { spi, part: setup.part };
    let identity = talk.read(Register::Id as u8)?;
    if !setup.part.is(identity) {
        return Err(StartError::NotThePart { identity });
    }
    talk.carry_out(Command::Unlock)?;
    // The part does not check its input before it is told to, and does not mind the checksums it is sent until then.
    talk.write(Register::Mode as u8, MODE)?;
    talk.write(Register::Clock as u8, clock(C, setup.rate, setup.clock))?;
    talk.write(Register::Config as u8, CONFIG)?;
    let rung_0 = setup.gains.rung(0).registers();
    talk.write(Register::Gain1 as u8, rung_0)?;
    talk.write(Register::Gain2 as u8, rung_0)
}

/// One command at a time, its answer waited for.
struct Talk<'a, SPI> {
    spi: &'a mut SPI,
    part: Part,
}

impl<SPI: SpiDevice> Talk<'_, SPI> {
    /// The answer to the command of the frame before.
    fn exchange(&mut self, command: Command) -> Result<u16, StartError<SPI::Error>> {
        let mut bytes = command.frame();
        let frame = bytes.get_mut(..self.part.frame_bytes()).ok_or(StartError::Garbled)?;
        self.spi.transfer_in_place(frame).map_err(StartError::Bus)?;
        decode::<1>(self.part, frame).map(|frame| frame.answer).map_err(|_| StartError::Garbled)
    }

    fn ask(&mut self, command: Command) -> Result<u16, StartError<SPI::Error>> {
        self.exchange(command)?;
        self.exchange(Command::Null)
    }

    fn read(&mut self, address: u8) -> Result<u16, StartError<SPI::Error>> {
        self.ask(Command::Read(address))
    }

    fn carry_out(&mut self, command: Command) -> Result<(), StartError<SPI::Error>> {
        let answer = self.ask(command)?;
        match command.acknowledged() {
            Some(expected) if expected != answer => {
                Err(StartError::NotCarriedOut { command: command.word(), answer })
            }
            _ => Ok(()),
        }
    }

    fn write(&mut self, address: u8, value: u16) -> Result<(), StartError<SPI::Error>> {
        self.carry_out(Command::Write(address, value))?;
        let held = self.read(address)?;
        if held == value { Ok(()) } else { Err(StartError::NotHeld { address, written: value, held }) }
    }
}
