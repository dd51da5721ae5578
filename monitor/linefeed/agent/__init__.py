"""An agent of the MTConnect standard, which tells over HTTP what a machine's controller does."""

from monitor.linefeed.agent.agent import Agent

__all__ = ["Agent"]
