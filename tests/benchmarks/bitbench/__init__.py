"""How well references and tuned limits do, on simulated runs."""
