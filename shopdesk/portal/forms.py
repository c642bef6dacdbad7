from django import forms


class FreshLinkForm(forms.Form):
    email = forms.EmailField(label="Your email address", max_length=254)
