"""The tables beside a session's samples, each with the statements that read and change it inside a transaction."""
