//! The field book in its own flash, and the live link.

use embassy_futures::block_on;
use embassy_rp::uart::BufferedUartTx;
use embassy_time::Delay;
use embedded_io::{ErrorKind, ErrorType, Write};
use nullwalk_core::record::{Envelope, MAX_FRAME_BYTES, Record, frame};
use nullwalk_field_book::{BookError, FieldBook, Stream};
use nullwalk_handset::book::{Book, Unkept};
use nullwalk_pico2::fitting::layout;
use nullwalk_pico2::nor::Nor;

use super::bus::BusUser;

type Flash = Nor<BusUser, Delay>;

/// What is done with the book before the first record.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// Go on where it ends.
    GoOn,
    /// Send all of it over the link first.
    SendAll,
    /// Erase it.
    Format,
}

/// The book, and the link that says the same.
pub struct Books {
    flash: Option<Flash>,
    book: Option<FieldBook<Flash>>,
    link: Option<Stream<Link>>,
    last_station: u16,
}

impl Books {
    /// Not opened yet.
    pub fn new(flash: Option<Flash>, link: BufferedUartTx) -> Self {
        Self { flash, book: None, link: Stream::new(Link(link)).ok(), last_station: 0 }
    }

    /// Open it. Reads all of the flash once, which takes some seconds.
    pub fn open(&mut self, opening: Opening) {
        // The futures of this flash are ready at once: they wait by hand.
        let Some(flash) = self.flash.take() else { return };
        let opened = match opening {
            Opening::Format => block_on(FieldBook::format(flash, layout())),
            Opening::GoOn | Opening::SendAll => {
                block_on(FieldBook::open(flash, layout())).map(|(book, _)| book)
            }
        };
        let Ok(mut book) = opened else { return };
        if opening == Opening::SendAll {
            self.send_all(&mut book);
        }
        let mut last = 0;
        // A book that cannot be read is found out by the next record.
        let _ = block_on(book.kept(|envelope| {
            if let Ok(Record::Station(station)) = envelope.open() {
                last = last.max(station.number);
            }
        }));
        self.last_station = last;
        self.book = Some(book);
    }

    /// Number of the last station in it.
    pub fn last_station(&self) -> u16 {
        self.last_station
    }

    fn send_all(&mut self, book: &mut FieldBook<Flash>) {
        let Some(link) = self.link.take() else { return };
        let mut link = link.into_inner();
        let mut framed = [0; MAX_FRAME_BYTES];
        let mut send = |envelope: Envelope<'_>| {
            if let Ok(framed) = frame(envelope.bytes, &mut framed) {
                // The port takes everything, whether anybody listens or not.
                let _ = link.write_all(framed);
            }
        };
        let _ = block_on(book.kept(&mut send));
        let _ = block_on(book.hops(&mut send));
        self.link = Stream::new(link).ok();
    }
}

impl Book for Books {
    fn append(&mut self, record: &Record) -> Result<(), Unkept> {
        if let Some(link) = &mut self.link {
            // Who follows live counts what is missing.
            let _ = link.append(record);
        }
        let book = self.book.as_mut().ok_or(Unkept::Failed)?;
        block_on(book.append(record)).map_err(|error| match error {
            BookError::Full => Unkept::Full,
            _ => Unkept::Failed,
        })
    }

    fn close(&mut self) -> Result<(), Unkept> {
        // Every record is whole when `append` returns.
        self.book.as_ref().map(|_| ()).ok_or(Unkept::Failed)
    }
}

/// The serial port of the live link.
struct Link(BufferedUartTx);

impl ErrorType for Link {
    type Error = ErrorKind;
}

impl Write for Link {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, ErrorKind> {
        self.0.blocking_write(bytes).map_err(|_| ErrorKind::Other)
    }

    fn flush(&mut self) -> Result<(), ErrorKind> {
        // The interrupt sends what is in the buffer; waiting for that would hold up the slow side.
        Ok(())
    }
}
