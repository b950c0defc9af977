//! The local page.

use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;

use super::{Done, Failure, report};
use crate::serve::{Plan, Server};

#[derive(clap::Args)]
pub struct Options {
    /// Jobs, and folders with jobs
    #[arg(required = true)]
    jobs: Vec<PathBuf>,
    /// Port to answer on; 0 for any that is free
    #[arg(long, default_value_t = 8765)]
    port: u16,
    /// Address to answer on, if not this machine only; takes --token
    #[arg(long, value_name = "ADDRESS", default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST))]
    listen: IpAddr,
    /// Ask every visitor for a token, which is made anew and printed
    #[arg(long)]
    token: bool,
}

pub fn run(options: Options) -> Result<Done, Failure> {
    let Options { jobs, port, listen, token } = options;
    let server = Server::bind(Plan { jobs, listen, port, token })?;
    let mut text = format!("page   http://{}/\n", server.address()?);
    if let Some(token) = server.token() {
        text.push_str(&format!("token  {token}\n"));
    }
    report::print(&text)?;
    if !listen.is_loopback() {
        eprintln!(
            "notice: whoever listens on the way can read along, the token too: use it in a network that you trust"
        );
    }
    eprintln!("notice: Ctrl-C ends it");
    server.run()?;
    Ok(Done::WORK)
}
