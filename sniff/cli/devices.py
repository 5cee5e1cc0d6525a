"""``sniff devices``."""

import click


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.pass_context
def devices(ctx: click.Context, /, as_json: bool) -> None:
    """Which dongles are here, what they can tune, and what is wrong if there is none.

    Exit code 0: at least one can be used; 4: none can.
    """
    from sniff.cli.defaults import defaults_path, read_defaults
    from sniff.report.devices_text import print_devices
    from sniff.report.envelope import envelope
    from sniff.sources.dongle import list_dongles, why_none

    listed = list_dongles()
    reasons = () if listed else why_none()
    stated = read_defaults().model_dump(exclude_defaults=True)
    if as_json:
        result = {"dongles": listed, "why_none": reasons, "defaults": stated}
        click.echo(envelope("devices", result))
    else:
        print_devices(listed, reasons, defaults=stated, defaults_path=str(defaults_path()))
    ctx.exit(0 if any(dongle.trouble is None for dongle in listed) else 4)
