"""Commands; each calls one operation. Operations are imported when their command runs."""

from __future__ import annotations

import click


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="condlube")
def main() -> None:
    """Condition-based relubrication decisions for grease-lubricated rolling bearings."""
