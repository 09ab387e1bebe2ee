use super::args::WhyArgs;
use super::context::{Context, Failure, Status};
use std::io::Write;
pub(super) fn run(
    _context: &mut Context,
    _args: &WhyArgs,
    _out: &mut dyn Write,
    _err: &mut dyn Write,
) -> Result<Status, Failure> {
    Ok(Status::Done)
}
