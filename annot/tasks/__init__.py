"""What a person does, one function each; command line and screen call only these."""
