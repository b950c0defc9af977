//! A page that is being served, and a visitor who speaks plain HTTP.
#![allow(dead_code)] // Each test takes what it needs.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The program serving; it ends with this.
pub struct Page {
    pub child: Child,
    /// Address and port.
    pub address: String,
    pub token: Option<String>,
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// A header, by its name in small letters.
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines.find(|(found, _)| found.eq_ignore_ascii_case(name)).map(|(_, value)| value)
    }
}

impl Page {
    /// Serve what `arguments` name, on any port.
    pub fn of(folder: &Path, arguments: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_nullwalk"));
        command.arg("serve").args(arguments).args(["--port", "0"]).current_dir(folder);
        Self::from(command)
    }

    pub fn from(mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it runs");
        let mut said = BufReader::new(child.stdout.take().expect("piped"));
        let mut line = || {
            let mut line = String::new();
            said.read_line(&mut line).expect("it speaks");
            line
        };
        let first = line();
        let address = first.trim().strip_prefix("page   http://").expect("an address first");
        let address = address.trim_end_matches('/').to_owned();
        let asks = command.get_args().any(|a| a == "--token");
        let token = asks.then(|| line().trim().strip_prefix("token  ").expect("a token").to_owned());
        Self { child, address, token }
    }

    pub fn port(&self) -> &str {
        self.address.rsplit_once(':').expect("a port").1
    }

    pub fn connect(&self) -> TcpStream {
        let stream =
            TcpStream::connect(("127.0.0.1", self.port().parse().expect("a number"))).expect("it listens");
        stream.set_read_timeout(Some(Duration::from_secs(60))).expect("set");
        stream
    }

    /// Send bytes as they are, and read what comes back to its end.
    pub fn send(&self, request: &[u8]) -> Answer {
        let mut stream = self.connect();
        // An answer may come before all was sent.
        let _ = stream.write_all(request);
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").expect("an end of the head");
        let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).expect("a status");
        Answer { status, head, body: bytes[end + 4..].to_vec() }
    }

    pub fn get_with(&self, path: &str, headers: &str) -> Answer {
        self.send(format!("GET {path} HTTP/1.1\r\nHost: {}\r\n{headers}\r\n", self.address).as_bytes())
    }

    pub fn get(&self, path: &str) -> Answer {
        self.get_with(path, "")
    }

    pub fn post(&self, path: &str, kind: &str, headers: &str, body: &[u8]) -> Answer {
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n{headers}\r\n",
            self.address,
            body.len()
        );
        self.send(&[head.as_bytes(), body].concat())
    }

    /// A form without files.
    pub fn form(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.form_with(path, "", fields)
    }

    pub fn form_with(&self, path: &str, headers: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<String> =
            fields.iter().map(|(name, value)| format!("{name}={}", coded(value))).collect();
        self.post(path, "application/x-www-form-urlencoded", headers, body.join("&").as_bytes())
    }

    /// The key in the forms of a page.
    pub fn key(&self, path: &str) -> String {
        let text = self.get(path).text();
        let (_, rest) = text.split_once("name=\"key\" value=\"").expect("a form");
        rest.split('"').next().expect("a key").to_owned()
    }

    /// Files of a capture, and what goes with them.
    pub fn upload(&self, job: &str, fields: &[(&str, &str)], files: &[(&str, &[u8])]) -> Answer {
        const EDGE: &str = "----an-edge";
        let mut body = Vec::new();
        for (name, value) in fields {
            body.extend(
                format!("--{EDGE}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
                    .bytes(),
            );
        }
        for (name, content) in files {
            let head = format!(
                "Content-Disposition: form-data; name=\"files\"; filename=\"{name}\"\r\nContent-Type: text/html"
            );
            body.extend(format!("--{EDGE}\r\n{head}\r\n\r\n").bytes());
            body.extend(*content);
            body.extend(b"\r\n");
        }
        body.extend(format!("--{EDGE}--\r\n").bytes());
        self.post(
            &format!("/job/{job}/upload/files"),
            &format!("multipart/form-data; boundary={EDGE}"),
            "",
            &body,
        )
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Every letter that is not plain, coded.
pub fn coded(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// Where the links of a page lead, without their fragments.
pub fn links(text: &str) -> Vec<String> {
    let parts = text.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next());
    let paths = parts.filter_map(|path| path.split('#').next()).filter(|path| !path.is_empty());
    paths.map(|path| path.replace("&amp;", "&")).collect()
}
